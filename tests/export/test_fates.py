"""What becomes of an export: asked for twice, cancelled, crashed half-way, damaged, overtaken by a redaction."""

import datetime as dt
import json

import pytest

from pmcore import tasks
from pmcore.engines.vocabulary import JobState
from pmcore.models import Entry, ExportStatement, Job, SignedHead, Text
from pmcore.queries.exports import export_for, exports_folder, file_of
from pmcore.queries.head import head
from pmcore.services import export_files, export_history, jobs
from pmcore.services.exports import ask_export, cancel_export, drop_outdated
from pmcore.services.redaction import redact_text
from pmcore.services.signing import HistoryRewritten, NoSigningKey, sign_growth, sign_head, signer
from tests.export.building import EVERYBODYS, NOW, SYSTEM, alter, built, done, unpacked, verdict
from tests.history import AT, MARCH, a_move, small_history, small_world

pytestmark = pytest.mark.django_db


@pytest.fixture(autouse=True)
def data(settings, tmp_path):
    settings.DATA, settings.SIGNING_KEY = tmp_path, tmp_path / "signing-key"


@pytest.fixture
def world():
    return small_history()


def test_asked_for_twice_it_is_one_export_and_is_built_once(world):
    size = head().size
    first = ask_export(known=size, actor=EVERYBODYS, at=NOW)
    assert ask_export(known=size, actor=EVERYBODYS, at=NOW + dt.timedelta(minutes=1)) == first
    tasks.run_job(first)
    tasks.run_job(first)
    assert ask_export(known=size, actor=EVERYBODYS, at=NOW) == first
    assert ExportStatement.objects.count() == 1


def test_one_that_waits_says_so_and_has_no_files(world):
    told = export_for(ask_export(actor=EVERYBODYS, at=NOW), EVERYBODYS)
    assert (told.state, told.entries) == ("waiting", None)
    assert file_of(told, "pack.zip") is None


def test_one_that_is_cancelled_before_its_time_is_not_built(world):
    export = ask_export(actor=EVERYBODYS, at=NOW)
    cancel_export(export=export, actor=EVERYBODYS, at=NOW)
    tasks.run_job(export)
    told = export_for(export, EVERYBODYS)
    assert (told.state, told.error) == ("failed", "It was cancelled.")
    assert not ExportStatement.objects.exists()


def test_one_that_is_cancelled_at_work_leaves_nothing(world, monkeypatch):
    export = ask_export(actor=EVERYBODYS, at=NOW)
    write = export_history._write

    def cancelled_meanwhile(*given):
        cancel_export(export=export, actor=EVERYBODYS, at=NOW)
        return write(*given)

    monkeypatch.setattr(export_history, "_write", cancelled_meanwhile)
    tasks.run_job(export)
    assert export_for(export, EVERYBODYS).state == "failed"
    assert list(exports_folder().iterdir()) == []
    assert not ExportStatement.objects.exists()


def test_cancelled_when_done_its_files_go_and_asked_again_the_same_come(world):
    size = head().size
    told = done(known=size)
    pack = (told.folder / "pack.zip").read_bytes()
    cancel_export(export=told.id, actor=EVERYBODYS, at=NOW)
    assert export_for(told.id, EVERYBODYS).state == "failed"
    assert not told.folder.exists()
    again = done(known=size)
    assert again.id == told.id
    assert (again.folder / "pack.zip").read_bytes() == pack


@pytest.mark.parametrize("full_at", ["history.csv", "history.ndjson", "leaves.bin"])
def test_a_disk_that_is_full_ends_the_attempt_and_the_next_one_is_whole(world, monkeypatch, full_at):
    write = export_files._Hashed.write

    def full(self, data):
        if self._file.name.endswith(full_at):
            raise OSError(28, "No space left on device")
        write(self, data)

    with monkeypatch.context() as patched:
        patched.setattr(export_files._Hashed, "write", full)
        told = built()
    job = Job.objects.get(pk=told.id)
    assert (told.state, job.error) == ("waiting", "OSError: [Errno 28] No space left on device")
    assert list(exports_folder().iterdir()) == []
    tasks.run_job(told.id)
    assert export_for(told.id, EVERYBODYS).state == "done"


def test_files_that_are_gone_are_not_promised(world):
    told = done()
    told.folder.rename(told.folder.with_suffix(".gone"))
    said = export_for(told.id, EVERYBODYS)
    assert said.state == "failed"
    assert "Ask again" in said.error


def test_an_altered_row_is_not_exported(world):
    alter("UPDATE pmcore_placement SET from_on = '2026-04-02' WHERE from_on = '2026-04-01'")
    seq = Entry.objects.get(kind="device_placed", pk=Entry.objects.filter(kind="device_placed")[1].pk).pk
    told = built()
    assert told.state == "failed"
    assert told.error == f"RecordDamaged: Entry {seq} is not what was recorded."
    assert list(exports_folder().iterdir()) == []


def test_an_altered_leaf_outside_the_scope_is_found_too(world):
    alter("UPDATE pmcore_entry SET leaf = %s WHERE seq = 2", b"x" * 32)
    told = built(begins_on=dt.date(2030, 1, 1))
    assert (told.state, told.error.partition(":")[0]) == ("failed", "RecordDamaged")


@pytest.mark.parametrize("column", ["words = 'Other words.'", "words = NULL"])
def test_an_altered_text_is_not_exported(world, column):
    alter(f"UPDATE pmcore_text SET {column} WHERE entry = (SELECT min(entry) FROM pmcore_text)")
    told = built()
    if column.endswith("NULL"):  # it looks as though it had been taken out; verify_history tells that it was not
        assert told.state == "done"
    else:
        assert told.error.startswith("RecordDamaged: A text of entry ")


def test_words_that_are_taken_out_leave_no_export_behind(world, tmp_path):
    told = done()
    digest = Text.objects.order_by("entry").first().digest
    words = Text.objects.get(digest=digest).words
    assert words in (unpacked(told, tmp_path / "before") / "texts.ndjson").read_text()
    redact_text(digest=digest, reason="Asked for.", actor=SYSTEM, at=NOW)
    said = export_for(told.id, EVERYBODYS)
    assert (said.state, file_of(said, "pack.zip")) == ("failed", None)
    drop_outdated()
    assert not told.folder.exists()
    again = done(known=told.scope.known)
    folder = unpacked(again, tmp_path / "after")
    assert words not in (folder / "texts.ndjson").read_text()
    assert verdict(folder)[0] == 0
    assert json.loads((folder / "manifest.json").read_bytes())["texts"]["redacted"] == 1


def test_words_that_are_taken_out_while_it_is_built_stop_it(world, monkeypatch):
    write = export_history._write

    def redacted_meanwhile(*given):
        answer = write(*given)
        redact_text(digest=Text.objects.first().digest, reason="Asked for.", actor=SYSTEM, at=NOW)
        return answer

    monkeypatch.setattr(export_history, "_write", redacted_meanwhile)
    told = built()
    assert told.state == "failed"
    assert list(exports_folder().iterdir()) == []


def test_a_worker_that_lost_its_lease_puts_nothing_in_place(world, monkeypatch):
    write = export_history._write

    def overtaken(*given):
        answer = write(*given)
        jobs.take(job=Job.objects.get().pk, at=NOW + dt.timedelta(days=1000), seconds=600)
        return answer

    monkeypatch.setattr(export_history, "_write", overtaken)
    export = ask_export(actor=EVERYBODYS, at=NOW)
    tasks.run_job(export)
    assert Job.objects.get().state == JobState.RUNNING
    assert list(exports_folder().iterdir()) == []


# Signing


def test_the_key_is_made_once_for_its_owner_alone(settings):
    first = signer()
    assert settings.SIGNING_KEY.stat().st_mode & 0o777 == 0o600
    assert signer().public == first.public


def test_a_file_that_is_no_key_is_named(settings):
    settings.SIGNING_KEY.write_text("no key")
    with pytest.raises(NoSigningKey, match="signing-key"):
        signer()


def test_a_head_is_signed_where_the_history_grew():
    assert sign_growth(at=NOW) is None
    world = small_world()
    assert sign_growth(at=NOW).size == head().size
    assert sign_growth(at=NOW) is None
    a_move(world, world.ward, MARCH)
    tasks.sweep_heads()
    assert list(SignedHead.objects.order_by("pk").values_list("size", flat=True)) == [head().size - 1, head().size]
    assert SignedHead.objects.order_by("pk")[0].at == AT


def test_nothing_is_signed_of_a_history_made_anew():
    world = small_world()
    sign_growth(at=NOW)
    SignedHead.objects.update(root=b"y" * 32)
    a_move(world, world.ward, MARCH)
    with pytest.raises(HistoryRewritten, match="another than the one that was signed"):
        sign_growth(at=NOW)
    with pytest.raises(HistoryRewritten):
        sign_head(size=SignedHead.objects.get().size, at=NOW)
    told = built()
    assert (told.state, told.error.partition(":")[0]) == ("failed", "HistoryRewritten")


def test_nothing_is_signed_of_a_history_cut_short():
    small_world()
    sign_growth(at=NOW)
    SignedHead.objects.update(size=1000)
    with pytest.raises(HistoryRewritten, match="shorter"):
        sign_head(size=head().size, at=NOW)
