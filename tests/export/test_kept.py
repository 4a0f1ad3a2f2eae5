"""What was rendered as the history grew is what an export would render, is looked at before it is believed, and is no
loss when it is gone."""

import datetime as dt
import shutil
import zipfile
from dataclasses import replace

import pytest
from django.test import override_settings

from pmcore import tasks
from pmcore.models import Entry
from pmcore.queries import exported, exported_csv, exported_kept, rendered
from pmcore.queries.exported import runs
from pmcore.queries.head import head
from pmcore.queries.rendered import Rendered, file_of, rendered_folder, whole_stretches
from pmcore.services import keep_rendered as keeping
from pmcore.services.keep_rendered import keep_rendered
from tests.export.building import alter, built, done, unpacked, verdict
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


def emptied():
    for path in rendered_folder().iterdir():
        path.unlink()


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


def missing(size):
    return [each for each in whole_stretches(size) if not file_of(each[0]).exists()]


def test_an_export_of_some_days_is_the_same(kept, used):
    days = (AT.date().isoformat(), (AT + dt.timedelta(days=1)).date().isoformat())
    shown = everything(None, days)
    assert used
    emptied()
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
    assert used == [first for first, _ in whole_stretches(head().size) if first != 1 + STRETCH]
    assert asked == list(range(1, head().size + 1))
    assert shown[1] == asked[2::3]
    assert shown[2] == kept[2][2::3]
    assert shown[3] == kept[3][2::3]


def of_another_key(data):
    made = Rendered.from_bytes(data)
    with override_settings(SECRET_KEY="another key of more than thirty-two characters"):
        return made.to_bytes()


def of_another_form(data):
    made = Rendered.from_bytes(data)
    with pytest.MonkeyPatch.context() as patched:
        patched.setattr(rendered, "CSV_FORM", "pmcore-csv-0")
        return made.to_bytes()


SPOILT = {
    "a byte less": lambda data: data[:-1],
    "half of it": lambda data: data[: len(data) // 2],
    "nothing": lambda data: b"",
    "no seal": lambda data: data.partition(b"\n")[2],
    "other": lambda data: b"no such thing",
    "no text": lambda data: b"\xff" + data,
    "more": lambda data: data + b"{}\n",
    "older form": of_another_form,
    "a cell": lambda data: data.replace(b',"', b',"=', 1),
    "a body": lambda data: data.replace(b'{"at":"2', b'{"at":"3', 1),
    "other entries": lambda data: replace(Rendered.from_bytes(data), first=9).to_bytes(),
    "other leaves": lambda data: replace(Rendered.from_bytes(data), leaves_hash=b"l" * 32).to_bytes(),
    "another key": of_another_key,
}


@pytest.mark.parametrize("spoil", SPOILT.values(), ids=SPOILT)
def test_what_is_not_right_is_rendered_again_and_set_aside_until_then(kept, used, spoil):
    path = file_of(1)
    right = path.read_bytes()
    path.write_bytes(spoil(right))
    assert path.read_bytes() != right
    assert everything() == kept
    assert used[0] == 1 + STRETCH
    assert not path.exists()
    assert [left.read_bytes() for left in rendered_folder().glob(".*")] == [spoil(right)]
    assert keep_rendered() == 1
    assert path.read_bytes() == right
    assert list(rendered_folder().glob(".*")) == []


def test_of_some_days_too(kept):
    days = (AT.date().isoformat(), AT.date().isoformat())
    spoilt = file_of(1)
    spoilt.write_bytes(replace(Rendered.from_bytes(spoilt.read_bytes()), leaves_hash=b"l" * 32).to_bytes())
    assert everything(None, days)[0] == kept[0]
    assert not spoilt.exists()


@pytest.mark.parametrize("spoil", [SPOILT["nothing"], SPOILT["other leaves"]])
def test_a_file_that_cannot_be_set_aside_hinders_nobody(kept, monkeypatch, spoil):
    def refused(*_):
        raise PermissionError("not writable")

    file_of(1).write_bytes(spoil(file_of(1).read_bytes()))
    monkeypatch.setattr(rendered.Path, "replace", refused)
    assert everything() == kept


def test_a_file_that_cannot_be_read_hinders_nobody(kept, monkeypatch):
    def refused(self):
        raise PermissionError("not readable")

    monkeypatch.setattr(rendered.Path, "read_bytes", refused)
    assert everything() == kept


@pytest.mark.parametrize("narrowed", [{}, {"begins_on": AT.date(), "ends_on": AT.date()}, {"sites": "one"}])
def test_the_files_of_an_export_are_the_same_bytes_and_verify(world, used, tmp_path, narrowed):
    narrowed = {**narrowed, **({"sites": [world.site]} if "sites" in narrowed else {})}
    size = head().size

    def files():
        told = done(**narrowed, known=size)
        found = {path.name: path.read_bytes() for path in told.folder.iterdir()}
        shutil.rmtree(told.folder)  # so that they are made again
        return found

    anew = files()
    keep_rendered()
    assert used == []
    assert files() == anew
    assert used
    (tmp_path / "pack.zip").write_bytes(anew["pack.zip"])
    with zipfile.ZipFile(tmp_path / "pack.zip") as pack:
        pack.extractall(tmp_path / "pack")
    assert verdict(tmp_path / "pack")[0] == 0


def test_an_export_holds_what_was_recorded_when_rows_were_altered_since(kept, tmp_path):
    alter("UPDATE pmcore_placement SET from_on = '2026-04-02' WHERE from_on = '2026-04-01'")
    size = len(kept[0]) // STRETCH * STRETCH
    assert parts(runs(size, None))[2] == kept[2][:size]
    assert verdict(unpacked(done(known=size), tmp_path))[0] == 0


def test_an_altered_leaf_is_not_exported_and_what_was_kept_stays_for_whoever_looks(kept):
    right = file_of(1).read_bytes()
    alter("UPDATE pmcore_entry SET leaf = %s WHERE seq = 2", b"x" * 32)
    assert built().error == "RecordDamaged: Entry 2 is not what was recorded."
    keep_rendered()
    assert [left.read_bytes() for left in rendered_folder().glob(".*")] == [right]


@pytest.mark.parametrize(
    "altered", ["at = '2031-05-05 08:00:00+00:00'", "subject = subject + 1", "kind = 'device_placed'"]
)
def test_by_what_entries_are_chosen_must_be_what_was_recorded(kept, altered):
    column = altered.split(" ")[0]
    alter(f"UPDATE pmcore_entry SET {altered} WHERE seq = 2")
    assert Entry.objects.filter(seq=2).values_list(column, flat=True)
    told = built(begins_on=dt.date(2026, 1, 1), ends_on=dt.date(2031, 12, 31), sites=None)
    assert told.error == "RecordDamaged: Entry 2 is not what was recorded."


def test_what_is_damaged_gets_no_file_and_the_rest_does():
    alter("UPDATE pmcore_entry SET leaf = %s WHERE seq = 2", b"x" * 32)
    assert keep_rendered() == head().size // STRETCH - 1
    assert missing(head().size) == [(1, STRETCH)]
    assert keep_rendered() == 0


def test_only_whole_stretches_are_kept_and_a_few_at_once():
    size = head().size
    assert keep_rendered(most=2) == 2
    assert len(missing(size)) == size // STRETCH - 2
    assert whole_stretches(3 * STRETCH - 1) == [(1, STRETCH), (STRETCH + 1, 2 * STRETCH)]
    assert whole_stretches(0) == []


def test_the_sweep_keeps_what_is_there_and_leaves_nothing_aside():
    tasks.sweep_rendered()
    assert missing(head().size) == []
    assert {len(path.name) for path in rendered_folder().iterdir()} == {12}


def test_what_a_killed_sweep_left_is_taken_away_with_the_next():
    rendered_folder().mkdir(parents=True)
    left = rendered_folder() / f".{file_of(1).name}-half"
    left.write_bytes(b"half of it")
    keep_rendered()
    assert not left.exists()


def test_of_two_sweeps_at_once_the_later_leaves_what_the_other_did(monkeypatch, kept):
    right = file_of(1).read_bytes()

    def while_the_other_ends(self):
        file_of(1).write_bytes(right)
        for path in rendered_folder().glob(".*"):
            path.unlink()
        return b"of the later one"

    file_of(1).unlink()
    monkeypatch.setattr(keeping.Rendered, "to_bytes", while_the_other_ends)
    keep_rendered()
    assert file_of(1).read_bytes() == right


def test_what_is_of_another_record_or_another_key_is_taken_away(kept):
    beyond, other = file_of(10_001), rendered_folder().with_name("another")
    beyond.write_bytes(b"of a longer history")
    other.mkdir()
    (other / "1").write_bytes(b"of another key")
    assert keep_rendered() == 0
    assert not beyond.exists()
    assert not other.exists()
    assert missing(head().size) == []


def test_damaged_ones_are_in_nobodys_way():
    alter("UPDATE pmcore_entry SET leaf = %s WHERE seq <= %s", b"x" * 32, 2 * STRETCH)
    damaged = [(1, STRETCH), (STRETCH + 1, 2 * STRETCH)]
    for _ in range(500):
        if missing(head().size) == damaged:
            break
        keep_rendered(most=1)
    assert missing(head().size) == damaged


def test_the_last_of_the_disk_is_left_to_the_record(monkeypatch):
    monkeypatch.setattr(keeping, "LEAST_FREE", 2**80)
    assert keep_rendered() == 0
    assert list(rendered_folder().iterdir()) == []


def test_a_disk_that_is_full_leaves_nothing_half_written_and_takes_nothing_away(monkeypatch):
    def full(self):
        raise OSError(28, "No space left on device")

    keep_rendered()
    file_of(1).write_bytes(b"altered")
    everything()
    assert missing(head().size) == [(1, STRETCH)]
    monkeypatch.setattr(keeping.Rendered, "to_bytes", full)
    with pytest.raises(OSError, match="No space left"):
        keep_rendered()
    assert [path.read_bytes() for path in rendered_folder().glob(".*")] == [b"altered"]
    assert missing(head().size) == [(1, STRETCH)]


def test_a_line_of_the_csv_is_of_the_form_that_is_named():
    """Whoever changes the line changes the name of its form too."""
    body = b'{"at":"2026-03-01T08:00:00Z","kind":"k","note":"ab","person":4,"replaces":[5,6],"role":"auditor",'
    body += b'"rows":[{"a":{"id":7,"w":"x"}}],"seq":3,"subject":2}'
    line = b'3,2026-03-01T08:00:00Z,k,2,4,auditor,ab,5 6,"[{""a"":{""id"":7,""w"":""x""}}]"\r\n'
    assert (exported_csv.CSV_FORM, exported_csv.csv_line(body)) == ("pmcore-csv-1", line)
