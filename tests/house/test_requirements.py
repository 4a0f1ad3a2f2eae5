"""The locks: every archive by its hash, none by an address, and the development lock adds to the run lock."""

import re
import tomllib

import pytest
from packaging.requirements import Requirement
from packaging.utils import canonicalize_name

from tests.house.checkout import ROOT

pytestmark = pytest.mark.house

PROJECT = tomllib.loads((ROOT / "pyproject.toml").read_text())["project"]
RUN = (ROOT / "requirements.txt").read_text()
DEV = (ROOT / "requirements-dev.txt").read_text()

_HASH = re.compile(r"--hash=sha256:[0-9a-f]{64}")
_PINNED = re.compile(r"(?P<name>[\w.-]+)==(?P<version>[^\s;@]+)(?: ; [^@]+)?")


def entries(lock: str) -> dict[str, tuple[str, frozenset[str]]]:
    """By name: the pinned version and the hashes. Anything else in the lock but a condition is refused."""
    text = re.sub(r"^\s*#.*$", "", lock, flags=re.MULTILINE).replace("\\\n", " ")
    found = {}
    for line in filter(None, map(str.strip, text.splitlines())):
        pinned, *hashes = re.split(r"\s+(?=--hash=)", line)
        match = _PINNED.fullmatch(pinned)
        if not match or not hashes or not all(_HASH.fullmatch(each) for each in hashes):
            raise ValueError(f"{line!r} is no version with its hashes")
        found[canonicalize_name(match["name"])] = match["version"], frozenset(hashes)
    return found


def missing(wanted: list[str], lock: str) -> set[str]:
    return {canonicalize_name(Requirement(each).name) for each in wanted} - set(entries(lock))


@pytest.mark.parametrize("lock", [RUN, DEV], ids=["run", "dev"])
def test_a_lock_holds_versions_with_hashes_and_nothing_else(lock: str) -> None:
    assert entries(lock)
    assert "://" not in lock


def test_the_run_lock_has_every_dependency() -> None:
    assert missing(PROJECT["dependencies"], RUN) == set()


def test_the_development_lock_has_every_tool() -> None:
    assert missing(PROJECT["optional-dependencies"]["dev"], DEV) == set()


def test_the_development_lock_adds_to_the_run_lock_and_changes_nothing() -> None:
    assert entries(RUN).items() <= entries(DEV).items()


@pytest.mark.parametrize(
    "line",
    [
        "django==5.2",
        "django>=5.2 --hash=sha256:" + "0" * 64,
        "django==5.2 --hash=md5:00",
        "django @ file:django.whl --hash=sha256:" + "0" * 64,
        "--extra-index" + "-url here",
        "-r others.txt",
    ],
)
def test_any_other_line_is_refused(line: str) -> None:
    with pytest.raises(ValueError, match="is no version with its hashes"):
        entries(line)


def test_a_dependency_that_is_not_locked_is_seen() -> None:
    assert missing(["Django>=5", "no_such.package[extra]; python_version > '3'"], RUN) == {"no-such-package"}
