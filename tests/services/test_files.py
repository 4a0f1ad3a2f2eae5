"""Files lie under their hash, and verify_history misses none."""

import io
import tracemalloc
from pathlib import Path
from typing import Any

import pytest
from django.core.management import call_command
from django.db import connection

from pmcore.engines.records import SYSTEM
from pmcore.engines.vocabulary import Role
from pmcore.models import Attachment, Hold, guards
from pmcore.models.rows import Row
from pmcore.queries.columns import BadValue
from pmcore.queries.files import NoSuchFile, open_file, path_of
from pmcore.queries.verification import verify
from pmcore.services.files import LARGEST, FileEmpty, FileTooLarge, attach_file
from pmcore.services.redaction import redact_text
from pmcore.services.refusals import NotAllowed, UnknownReference, WrongSite
from pmcore.services.requests import Receipt
from pmcore.tasks import HANDLERS
from tests.cast import Hospital, a_person, check_refused
from tests.history import AT, written

pytestmark = pytest.mark.django_db


@pytest.fixture(autouse=True)
def folder(settings, tmp_path: Path) -> Path:
    settings.DATA = tmp_path
    return tmp_path


def attached(thing: int, content: bytes = b"a photo", **changed: Any) -> Receipt:
    asked = {"name": "inlet.jpg", "media_type": "image/jpeg", "actor": SYSTEM, "at": AT, **changed}
    return attach_file(thing=thing, stream=io.BytesIO(content), **asked)


def files(folder: Path) -> list[Path]:
    return [path for path in folder.rglob("*") if path.is_file()]


def test_a_file_is_kept_under_its_hash(hospital: Hospital) -> None:
    attached(hospital.device)
    fact = Attachment.objects.get()
    with open_file(fact.sha256) as file:
        assert file.read() == b"a photo"
    assert path_of(fact.sha256).stat().st_mode & 0o777 == 0o600
    assert (fact.size, fact.thing) == (7, hospital.device)
    assert verify().sound


def test_the_same_content_is_kept_once(hospital: Hospital, folder: Path) -> None:
    attached(hospital.device)
    attached(hospital.alderwick)
    assert len(files(folder)) == 1
    assert Attachment.objects.count() == 2


@pytest.mark.parametrize(
    ("content", "changed", "error"),
    [
        (b"x" * 101, {"limit_bytes": 100}, FileTooLarge),
        (b"x" * (LARGEST + 1), {}, FileTooLarge),
        (b"", {}, FileEmpty),
        (b"x", {"name": ""}, BadValue),
        (b"x", {"name": "inlet\x00.jpg"}, BadValue),
        (b"x", {"media_type": "m" * 81}, BadValue),
    ],
)
def test_a_file_that_makes_no_sense_is_refused_and_leaves_nothing(
    hospital: Hospital, folder: Path, content: bytes, changed: dict[str, Any], error: type[Exception]
) -> None:
    with check_refused(error):
        attached(hospital.device, content, **changed)
    assert files(folder) == []


def test_a_file_as_large_as_the_limit_is_kept(hospital: Hospital) -> None:
    assert attached(hospital.device, b"x" * 100, limit_bytes=100).seq


def test_a_sender_who_breaks_off_leaves_nothing(hospital: Hospital, folder: Path) -> None:
    class Broken(io.BytesIO):
        def read(self, size: int | None = -1) -> bytes:
            part = super().read(3)
            if not part:
                raise ConnectionResetError
            return part

    with check_refused(ConnectionResetError):
        attach_file(
            thing=hospital.device, stream=Broken(b"a pho"), name="n", media_type="m/m", actor=SYSTEM, at=AT
        )  # fmt: skip
    assert files(folder) == []


def test_what_does_not_exist_gets_no_file(hospital: Hospital, folder: Path) -> None:
    with check_refused(UnknownReference):
        attached(999_999)
    assert files(folder) == []


def test_who_works_elsewhere_or_only_looks_attaches_nothing(hospital: Hospital, folder: Path) -> None:
    elsewhere = a_person("Ines Caddock", Role.TECHNICIAN, hospital.stennet)
    auditor = a_person("Ada Merrow", Role.AUDITOR, hospital.alderwick)
    hold = Row(Hold, device=hospital.device)
    written("hold_placed", hospital.device, hold)
    for thing in (hospital.device, hospital.theatre, hospital.alderwick, hold.id or 0):
        with check_refused(WrongSite):
            attached(thing, actor=elsewhere)
    with check_refused(NotAllowed):
        attached(hospital.device, actor=auditor)
    assert files(folder) == []


def test_what_is_of_no_site_gets_a_file_from_anybody_at_work(hospital: Hospital) -> None:
    assert attached(hospital.model, actor=hospital.ruan).subject == hospital.model


@pytest.mark.parametrize("sha256", ["0" * 64, "", "../../etc/passwd", "A" * 64])
def test_what_is_not_kept_is_not_opened(sha256: str) -> None:
    with pytest.raises(NoSuchFile):
        open_file(sha256)


def test_a_missing_file_is_named(hospital: Hospital) -> None:
    attached(hospital.device)
    path_of(Attachment.objects.get().sha256).unlink()
    assert [fault.code for fault in verify().faults] == ["file_missing"]
    assert Attachment.objects.get().sha256[:12] in str(verify().faults[0])


def test_the_name_of_a_file_can_be_redacted(hospital: Hospital) -> None:
    attached(hospital.device, name="Ines Caddock, thumb.jpg")
    name = Attachment.objects.get().name
    assert name.words == "Ines Caddock, thumb.jpg"
    redact_text(digest=name.digest, reason="It names a person.", actor=SYSTEM, at=AT)
    assert Attachment.objects.get().name.words is None
    assert verify().sound


def test_a_name_in_decomposed_characters_is_kept_composed(hospital: Hospital) -> None:
    attached(hospital.device, name="bu\u0308hne.jpg")
    assert Attachment.objects.get().name.words == "b\u00fchne.jpg"


@pytest.mark.parametrize("content", [b"a phot", b"a phot0", b"", b"a photo "])
def test_an_altered_file_is_named(hospital: Hospital, content: bytes) -> None:
    attached(hospital.device)
    path_of(Attachment.objects.get().sha256).write_bytes(content)
    assert [fault.code for fault in verify().faults] == ["file_altered"]


def test_a_fact_that_gives_another_size_is_named(hospital: Hospital) -> None:
    attached(hospital.device)
    kept = Attachment.objects.get()
    other = Row(Attachment, thing=hospital.ward, sha256=kept.sha256, size=8, media_type="image/jpeg", name="n.jpg")
    written("file_attached", hospital.ward, other)
    assert [(fault.code, fault.seq) for fault in verify().faults] == [("file_altered", kept.entry + 1)]


def test_what_cannot_be_read_is_named_and_verification_goes_on(hospital: Hospital) -> None:
    attached(hospital.device)
    attached(hospital.device, b"another photo")
    first, second = (path_of(fact.sha256) for fact in Attachment.objects.order_by("pk"))
    first.unlink()
    first.mkdir()
    second.unlink()
    assert [fault.code for fault in verify().faults] == ["file_unreadable", "file_missing"]


def test_the_same_file_attached_again_heals_the_kept_one(hospital: Hospital) -> None:
    attached(hospital.device)
    path_of(Attachment.objects.get().sha256).write_bytes(b"rot")
    attached(hospital.device)
    assert verify().sound


def test_no_transaction_is_open_while_a_file_is_written(hospital: Hospital) -> None:
    depth = len(connection.savepoint_ids)
    seen: list[int] = []

    class Watched(io.BytesIO):
        def read(self, size: int | None = -1) -> bytes:
            seen.append(len(connection.savepoint_ids))
            return super().read(size)

    attach_file(
        thing=hospital.device, stream=Watched(b"a photo"), name="n", media_type="m/m", actor=SYSTEM, at=AT
    )  # fmt: skip
    assert set(seen) == {depth}


def test_each_file_is_counted_while_they_are_checked(hospital: Hospital) -> None:
    for content in (b"a photo", b"another photo", b"a report"):
        attached(hospital.device, content)
    counted: list[tuple[int, int]] = []
    verify(files=lambda done, count: counted.append((done, count)))
    assert counted == [(1, 3), (2, 3), (3, 3)]


def test_the_command_and_the_job_show_how_many_files_are_checked(hospital: Hospital) -> None:
    attached(hospital.device)
    progress = io.StringIO()
    call_command("verify_history", stdout=io.StringIO(), stderr=progress)
    assert "1 of 1 attached files (100 %)" in progress.getvalue()
    said: list[str] = []
    HANDLERS["verify_record"]({}, said.append)
    assert said[-1] == "1 of 1 attached files"


def test_a_large_file_is_read_in_pieces(hospital: Hospital, monkeypatch: pytest.MonkeyPatch) -> None:
    attached(hospital.device, b"x" * LARGEST)
    tracemalloc.start()
    try:
        assert verify().sound
        assert tracemalloc.get_traced_memory()[1] < LARGEST / 2
    finally:
        tracemalloc.stop()


@pytest.mark.skipif("connection.vendor != 'sqlite'", reason="only SQLite stores it")
@pytest.mark.parametrize("column", ["sha256", "size", "entry"])
@pytest.mark.parametrize("stored", ["x'00'", "CAST(x'ff' AS TEXT)"])
def test_a_fact_of_a_file_with_strange_values_is_named(hospital: Hospital, column: str, stored: str) -> None:
    attached(hospital.device)
    guards.take_down(connection)
    with connection.cursor() as cursor:
        cursor.execute(f"UPDATE pmcore_attachment SET {column} = {stored}")
    expected = {
        "sha256": ["entry_altered", "value_strange", "file_missing"],
        "size": ["entry_altered", "value_strange", "file_altered"],
        "entry": ["row_of_another"],
    }
    assert [fault.code for fault in verify().faults] == expected[column]
