"""A thousand ways to tamper with an export, of ten kinds: none is accepted, and none ends in anything but a verdict."""

import contextlib
import io
import json
import random
from pathlib import Path

import pytest

from pmcore.export_pack import verify_export
from pmcore.models import Text
from pmcore.services.redaction import redact_text
from tests.export import mutations
from tests.export.building import NOW, SYSTEM, done, run_alone, unpacked
from tests.export.mutations import KINDS, Files
from tests.history import small_history

pytestmark = pytest.mark.django_db

EACH = 100
ALONE = 2  # of each kind also by a Python of its own


@pytest.fixture
def sound(settings, tmp_path) -> Files:
    """The files of an export of a small history in which words were taken out."""
    settings.DATA = tmp_path
    settings.SIGNING_KEY = tmp_path / "signing-key"
    small_history()
    redact_text(digest=Text.objects.order_by("entry")[1].digest, reason="A name.", actor=SYSTEM, at=NOW)
    folder = unpacked(done(), tmp_path / "pack")
    return {path.name: path.read_bytes() for path in folder.iterdir()}


def laid_out(files: Files, folder: Path) -> Path:
    folder.mkdir(exist_ok=True)
    for path in folder.iterdir():
        path.unlink()
    for name, data in files.items():
        (folder / name).write_bytes(data)
    return folder


def fingerprint_of(files: Files) -> str:
    return verify_export.hashlib.sha256(verify_export.read_key(files["public-key.txt"])[2]).hexdigest()


def check_refused(folder: Path, key: str | None, what: str) -> None:
    said, complained = io.StringIO(), io.StringIO()
    known = [] if key is None else ["--key", key]
    with contextlib.redirect_stdout(said), contextlib.redirect_stderr(complained):
        status = verify_export.main(["--folder", str(folder), *known])
    assert status == 1, what
    last = said.getvalue().rstrip("\n").rpartition("\n")[2]
    assert last.startswith("NOT VERIFIED: "), what
    assert complained.getvalue() == "", what


@pytest.mark.parametrize("kind", KINDS)
def test_none_of_a_hundred_of_a_kind_is_accepted(sound, tmp_path, kind):
    key, tried = fingerprint_of(sound), 0
    for number in range(EACH * 2):
        files = dict(sound)
        KINDS[kind](files, random.Random(f"{kind} {number}"))
        if files == sound:  # chance changed nothing
            continue
        folder = laid_out(files, tmp_path / "altered")
        check_refused(folder, key, f"{kind} {number}")
        if kind != "made_anew":  # which only who knows the fingerprint can tell
            check_refused(folder, None, f"{kind} {number}")
        if tried < ALONE and "verify_export.py" in files:
            alone = run_alone(folder, "--key", key)
            assert (alone.returncode, alone.stderr) == (1, ""), f"{kind} {number}"
        tried += 1
        if tried == EACH:
            break
    assert tried == EACH


def test_the_files_themselves_are_accepted(sound, tmp_path):
    alone = run_alone(laid_out(sound, tmp_path / "altered"), "--key", fingerprint_of(sound))
    assert alone.returncode == 0
    assert json.loads(sound["manifest.json"])["texts"]["redacted"] == 1


def test_a_history_made_anew_is_told_by_its_key_alone(sound, tmp_path):
    """It is sound in itself: the fingerprint that is printed is another one, and nothing else tells."""
    files = dict(sound)
    mutations.made_anew(files, random.Random(1))
    alone = run_alone(laid_out(files, tmp_path / "altered"))
    assert alone.returncode == 0
    assert f"Fingerprint of the key: {fingerprint_of(files)}" in alone.stdout
    assert fingerprint_of(sound) not in alone.stdout
    assert "compare the fingerprint" in alone.stdout


def test_an_option_that_there_is_not_is_no_verdict(sound, tmp_path):
    alone = run_alone(laid_out(sound, tmp_path / "altered"), "--kye", "x")
    assert (alone.returncode, alone.stdout) == (2, "")


def test_a_folder_in_place_of_a_file_is_refused(sound, tmp_path):
    folder = laid_out(sound, tmp_path / "altered")
    (folder / "head.txt").unlink()
    (folder / "head.txt").mkdir()
    check_refused(folder, fingerprint_of(sound), "a folder")
