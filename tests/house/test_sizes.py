"""Files and functions that fit into a reader's head."""

import pytest

from tests.house.checkout import named, source_files
from tests.house.rules import functions

pytestmark = pytest.mark.house

LONGEST_FILE = 400
LONGEST_FUNCTION = 60
SHORT_FUNCTION = 40  # lines that at most one function in twenty reaches


def too_long(lengths: dict[str, int], limit: int) -> dict[str, int]:
    return {name: length for name, length in lengths.items() if length > limit}


def share_of_short(lengths: list[int]) -> float:
    return sum(length < SHORT_FUNCTION for length in lengths) / len(lengths)


def function_lengths() -> dict[str, int]:
    return {f"{named(path)}: {name}": length for path in source_files() for name, length in functions(path.read_text())}


def test_no_file_is_longer_than_400_lines() -> None:
    assert too_long({named(path): len(path.read_text().splitlines()) for path in source_files()}, LONGEST_FILE) == {}


def test_no_function_is_longer_than_60_lines() -> None:
    assert too_long(function_lengths(), LONGEST_FUNCTION) == {}


def test_nineteen_functions_of_twenty_are_shorter_than_40_lines() -> None:
    assert share_of_short(list(function_lengths().values())) >= 0.95


def test_a_long_function_is_seen_with_its_length() -> None:
    source = "class Plan:\n    async def expand(self):\n" + "        pass\n" * 60
    assert too_long(dict(functions(source)), LONGEST_FUNCTION) == {"expand": 61}


def test_a_function_of_40_lines_is_not_short() -> None:
    assert share_of_short([39, 40]) == 0.5
