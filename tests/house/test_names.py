"""A file is named for what it is about; a name that fits everything collects everything."""

from pathlib import Path

import pytest

from tests.house.checkout import ROOT, named, python_files

pytestmark = pytest.mark.house

FIT_EVERYTHING = {"utils", "util", "helpers", "helper", "common", "misc"}


def says_nothing(path: Path) -> bool:
    return any(part.removesuffix(".py") in FIT_EVERYTHING for part in path.parts)


def test_every_name_says_what_the_file_is_about() -> None:
    assert [named(path) for path in python_files() if says_nothing(path.relative_to(ROOT))] == []


@pytest.mark.parametrize("name", ["pmcore/utils.py", "api/common/dates.py", "misc.py", "tests/helpers.py"])
def test_a_name_that_says_nothing_is_seen(name: str) -> None:
    assert says_nothing(Path(name))


def test_a_name_that_says_something_is_not() -> None:
    assert not says_nothing(Path("pmcore/engines/due_dates.py"))
