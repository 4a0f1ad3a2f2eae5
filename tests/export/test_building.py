"""An export holds the exact bytes, verifies alone, and comes out the same."""

import hashlib
import json
from base64 import b64decode

import pytest
import rfc8785
from cryptography.hazmat.primitives.asymmetric.ed25519 import Ed25519PublicKey

from pmcore.models import Entry, ExportedSite, ExportStatement, SignedHead, Text
from pmcore.queries.head import head
from pmcore.queries.verification import verify
from tests.engines import merkle_reference
from tests.export.building import done, run_alone, unpacked, verdict
from tests.history import small_history

pytestmark = pytest.mark.django_db


@pytest.fixture(autouse=True)
def data(settings, tmp_path):
    settings.DATA = tmp_path / "data"
    settings.DATA.mkdir()
    settings.SIGNING_KEY = settings.DATA / "signing-key"


@pytest.fixture
def world():
    return small_history()


def bodies_of(told) -> list[bytes]:
    return (told.folder / "history.ndjson").read_bytes().splitlines(keepends=True)


def test_it_holds_every_entry_by_the_bytes_that_were_hashed(world):
    leaves = [bytes(leaf) for leaf in Entry.objects.order_by("seq").values_list("leaf", flat=True)]
    lines = bodies_of(done())
    assert [hashlib.sha256(b"\0" + line.removesuffix(b"\n")).digest() for line in lines] == leaves
    assert all(line == rfc8785.dumps(json.loads(line)) + b"\n" for line in lines)


def test_it_verifies_in_an_empty_folder_with_the_standard_library_alone(world, tmp_path):
    size = head().size
    ran = run_alone(unpacked(done(), tmp_path / "pack"))
    assert (ran.returncode, ran.stderr) == (0, "")
    texts = Text.objects.filter(words__isnull=False, entry__lte=size).count()
    last = ran.stdout.splitlines()[-1]
    assert last == f"VERIFIED: {size} of {size} entries and {texts} free texts are what the signed head says."


def test_others_come_to_the_same_root_and_signature(world, tmp_path):
    folder = unpacked(done(), tmp_path / "pack")
    bodies = (folder / "history.ndjson").read_bytes().splitlines()
    _, size, root, at, _, signature = (folder / "head.txt").read_text().splitlines()
    assert int(size) == len(bodies)
    assert b64decode(root) == merkle_reference.tree_hash(bodies)
    assert at == "at 2026-10-31T07:00:00Z"
    key = b64decode((folder / "public-key.txt").read_text().strip().split("+", 2)[2])[1:]
    text = (folder / "head.txt").read_bytes().partition(b"\n\n")[0] + b"\n"
    Ed25519PublicKey.from_public_bytes(key).verify(b64decode(signature.split()[2])[4:], text)


def test_that_it_was_made_is_an_entry(world):
    size, root = head().size, head().root.hex()
    told = done(sites=[world.site])
    assert Entry.objects.get(seq=size + 1).kind == "history_exported"
    statement = ExportStatement.objects.get()
    assert (statement.size, statement.root, statement.entries) == (size, root, told.entries)
    for name, said in (("history.ndjson", statement.ndjson_sha256), ("pack.zip", statement.pack_sha256)):
        assert hashlib.sha256((told.folder / name).read_bytes()).hexdigest() == said
    assert ExportedSite.objects.get().site_id == world.site
    assert verify().sound


def test_asked_for_at_the_same_size_the_bytes_are_the_same(world):
    size = head().size
    first = done(known=size)
    files = {path.name: path.read_bytes() for path in first.folder.iterdir()}
    for path in first.folder.iterdir():
        path.unlink()
    first.folder.rmdir()
    again = done(known=size)
    assert again.id == first.id
    assert {path.name: path.read_bytes() for path in again.folder.iterdir()} == files


def test_the_head_that_it_carries_is_kept(world, tmp_path):
    folder = unpacked(done(), tmp_path / "pack")
    assert SignedHead.objects.get().note == (folder / "head.txt").read_text()


def test_a_later_history_begins_with_an_earlier_head(world, tmp_path):
    earlier = unpacked(done(), tmp_path / "earlier")
    later = unpacked(done(), tmp_path / "later")
    assert verdict(later, "--head", str(earlier / "head.txt"))[0] == 0
    assert verdict(earlier, "--head", str(later / "head.txt"))[0] == 1
