"""What was rendered as the history grew is what an export would render, is looked at before it is believed, and is no
loss when it is gone."""

import datetime as dt
from dataclasses import replace

import pytest
from django.test import override_settings

from pmcore import tasks
from pmcore.queries import exported, exported_csv, exported_kept, rendered
from pmcore.queries.exported import runs
from pmcore.queries.head import head
from pmcore.queries.rendered import Rendered, file_of, missing, rendered_folder
from pmcore.services import keep_rendered as keeping
from pmcore.services.keep_rendered import keep_rendered
from tests.export.building import alter, built, done
from tests.export.reading import parts
from tests.history import AT, MARCH, a_device, a_move, small_history
from tests.samples import Everything

pytestmark = pytest.mark.django_db

STRETCH = 8


@pytest.fixture(autouse=True)
def world(monkeypatch, settings, tmp_path):
    settings.DATA = tmp_path
    monkeypatch.setattr(rendered, "STRETCH", STRETCH)
    world = small_history()
    for days in (1, 0, 2, 1, 3):
        a_move(world, world.ward, MARCH, at=AT + dt.timedelta(days=days), note='"Moved", \\ and é 😀.')
    a_device(world.model, 'q"\\/<é😀>,=1+1')
    Everything().write()
    return world


def everything(*narrowed):
    return parts(runs(head().size, *narrowed or (None,)))


@pytest.fixture
def used(monkeypatch):
    """The stretches that came out of files."""
    used = []

    def noted(first, last, *rest):
        seqs, run = exported_kept.from_kept(first, last, *rest)
        used.extend([first] if run is not None else [])
        return seqs, run

    monkeypatch.setattr(exported, "from_kept", noted)
    return used


@pytest.fixture
def kept(used):
    """What an export shows without any file; the files are there afterwards."""
    shown = everything()
    assert used == []
    assert keep_rendered() == head().size // STRETCH > 9
    return shown


def test_an_export_of_everything_is_the_same(kept, used):
    assert everything() == kept
    assert used == list(range(1, head().size - STRETCH + 2, STRETCH))


def test_an_export_of_some_days_is_the_same(kept, used):
    days = (AT.date().isoformat(), (AT + dt.timedelta(days=1)).date().isoformat())
    shown = everything(None, days)
    assert used
    for path in rendered_folder().iterdir():
        path.unlink()
    assert shown == everything(None, days)
    assert 0 < len(shown[1]) < head().size == len(shown[0])


def test_an_export_of_chosen_entries_is_the_same_and_none_is_chosen_twice(kept, used):
    asked = []

    def every_third(entry):
        asked.append(entry.seq)
        return entry.seq % 3 == 0

    spoilt = file_of(1 + STRETCH)  # which is noticed once the entries were chosen
    spoilt.write_bytes(replace(Rendered.from_bytes(spoilt.read_bytes()), leaves_hash=b"l" * 32).to_bytes())
    shown = everything(every_third)
    assert 1 + STRETCH not in used
    assert asked == list(range(1, head().size + 1))
    assert shown[1] == asked[2::3]
    assert shown[2] == kept[2][2::3]
    assert shown[3] == kept[3][2::3]


def of_another_key(data):
    made = Rendered.from_bytes(data)
    with override_settings(SECRET_KEY="another key of more than thirty-two characters"):
        return made.to_bytes()


SPOILT = {
    "a byte less": lambda data: data[:-1],
    "half of it": lambda data: data[: len(data) // 2],
    "nothing": lambda data: b"",
    "no seal": lambda data: data.partition(b"\n")[2],
    "other": lambda data: b"no such thing",
    "no text": lambda data: b"\xff" + data,
    "more": lambda data: data + b"{}\n",
    "older form": lambda data: data.replace(b"pmcore-csv-", b"pmcore-csv-0", 1),
    "a cell": lambda data: data.replace(b',"', b',"=', 1),
    "a body": lambda data: data.replace(b'{"at":"2', b'{"at":"3', 1),
    "other entries": lambda data: replace(Rendered.from_bytes(data), first=9).to_bytes(),
    "other leaves": lambda data: replace(Rendered.from_bytes(data), leaves_hash=b"l" * 32).to_bytes(),
    "another key": of_another_key,
}


@pytest.mark.parametrize("spoil", SPOILT.values(), ids=SPOILT)
def test_what_is_not_right_is_rendered_again_and_thrown_away(kept, used, spoil):
    path = file_of(1)
    right = path.read_bytes()
    path.write_bytes(spoil(right))
    assert path.read_bytes() != right
    assert everything() == kept
    assert used[0] == 1 + STRETCH
    assert not path.exists()
    assert keep_rendered() == 1
    assert path.read_bytes() == right


def test_an_export_holds_what_was_recorded_when_rows_were_altered_since(kept):
    alter("UPDATE pmcore_placement SET from_on = '2026-04-02' WHERE from_on = '2026-04-01'")
    assert everything() == kept
    assert done().entries == len(kept[0])


def test_an_altered_leaf_is_not_exported(kept):
    alter("UPDATE pmcore_entry SET leaf = %s WHERE seq = 2", b"x" * 32)
    assert built().error == "RecordDamaged: Entry 2 is not what was recorded."


def test_what_is_damaged_gets_no_file_and_the_rest_does():
    alter("UPDATE pmcore_entry SET leaf = %s WHERE seq = 2", b"x" * 32)
    assert keep_rendered() == head().size // STRETCH - 1
    assert missing(head().size) == [(1, STRETCH)]
    assert keep_rendered() == 0


def test_only_whole_stretches_are_kept_and_a_few_at_once():
    size = head().size
    assert keep_rendered(most=2) == 2
    assert missing(size)[0] == (2 * STRETCH + 1, 3 * STRETCH)
    assert missing(3 * STRETCH - 1) == []
    assert missing(0) == []


def test_the_sweep_keeps_what_is_there_and_leaves_nothing_aside():
    tasks.sweep_rendered()
    assert missing(head().size) == []
    assert {len(path.name) for path in rendered_folder().iterdir()} == {12}


def test_what_a_killed_sweep_left_is_taken_away_with_the_next():
    rendered_folder().mkdir()
    (rendered_folder() / f".{file_of(1).name}-half").write_bytes(b"half of it")
    keep_rendered(most=1)
    assert [path.name for path in rendered_folder().iterdir()] == [file_of(1).name]


def test_of_two_sweeps_at_once_the_later_finds_it_done(monkeypatch, kept):
    whole = file_of(1).read_bytes()

    def while_the_other_ends(self):
        for path in rendered_folder().glob(".*"):
            path.unlink()
        return whole

    file_of(1).unlink()
    monkeypatch.setattr(keeping.Rendered, "to_bytes", while_the_other_ends)
    assert keep_rendered() == 1
    assert not file_of(1).exists()


def test_a_disk_that_is_full_leaves_nothing_half_written(monkeypatch):
    def full(self):
        raise OSError(28, "No space left on device")

    monkeypatch.setattr(keeping.Rendered, "to_bytes", full)
    with pytest.raises(OSError, match="No space left"):
        keep_rendered()
    assert list(rendered_folder().iterdir()) == []


def test_a_line_of_the_csv_is_of_the_form_that_is_named():
    """Whoever changes the line changes the name of its form too."""
    body = b'{"at":"2026-03-01T08:00:00Z","kind":"k","note":"ab","person":4,"replaces":[5,6],"role":"auditor",'
    body += b'"rows":[{"a":{"id":7,"w":"x"}}],"seq":3,"subject":2}'
    line = b'3,2026-03-01T08:00:00Z,k,2,4,auditor,ab,5 6,"[{""a"":{""id"":7,""w"":""x""}}]"\r\n'
    assert (exported_csv.CSV_FORM, exported_csv.csv_line(body)) == ("pmcore-csv-1", line)
