"""Files lie under their hash, and verify_history misses none."""

import io
from pathlib import Path

import pytest
from django.test import override_settings

from pmcore.engines.records import SYSTEM
from pmcore.models import Attachment
from pmcore.queries.files import path_of
from pmcore.queries.head import head
from pmcore.queries.verification import verify
from pmcore.services.files import FileEmpty, FileTooLarge, attach_file
from pmcore.services.refusals import UnknownReference
from pmcore.services.requests import Receipt
from tests.history import AT, World, small_world

pytestmark = pytest.mark.django_db


@pytest.fixture(autouse=True)
def folder(tmp_path: Path):
    with override_settings(DATA=tmp_path):
        yield tmp_path


@pytest.fixture
def world() -> World:
    return small_world()


def attached(thing: int, content: bytes = b"a photo", **options: int) -> Receipt:
    return attach_file(
        thing=thing,
        stream=io.BytesIO(content),
        name="inlet.jpg",
        media_type="image/jpeg",
        actor=SYSTEM,
        at=AT,
        **options,
    )


def files(folder: Path) -> list[Path]:
    return [path for path in (folder / "files").rglob("*") if path.is_file()]


def test_a_file_is_kept_under_its_hash(world: World, folder: Path) -> None:
    attached(world.device)
    fact = Attachment.objects.get()
    kept = path_of(fact.sha256)
    assert kept.read_bytes() == b"a photo"
    assert kept.stat().st_mode & 0o077 == 0
    assert (fact.size, fact.thing) == (7, world.device)
    assert verify().sound


def test_the_same_content_is_kept_once(world: World, folder: Path) -> None:
    attached(world.device)
    attached(world.site)
    assert len(files(folder)) == 1
    assert Attachment.objects.count() == 2


def test_too_large_or_empty_is_refused_and_leaves_nothing(world: World, folder: Path) -> None:
    size = head().size
    with pytest.raises(FileTooLarge):
        attached(world.device, b"x" * 101, largest=100)
    with pytest.raises(FileEmpty):
        attached(world.device, b"")
    assert files(folder) == []
    assert head().size == size


def test_a_thing_that_does_not_exist_gets_no_file(world: World) -> None:
    with pytest.raises(UnknownReference):
        attached(999_999)


def test_a_missing_file_is_named(world: World) -> None:
    attached(world.device)
    path_of(Attachment.objects.get().sha256).unlink()
    assert [fault.code for fault in verify().faults] == ["file_missing"]
    assert "'inlet.jpg'" in str(verify().faults[0])


@pytest.mark.parametrize("content", [b"a phot", b"a phot0"])
def test_an_altered_file_is_named(world: World, content: bytes) -> None:
    attached(world.device)
    path_of(Attachment.objects.get().sha256).write_bytes(content)
    assert [fault.code for fault in verify().faults] == ["file_altered"]
