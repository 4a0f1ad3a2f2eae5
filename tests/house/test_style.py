"""Lint and format."""

from pathlib import Path

import pytest

from tests.house.checkout import ROOT
from tests.house.tools import check_finds_nothing, report

pytestmark = pytest.mark.house

CONFIG = f"--config={ROOT / 'pyproject.toml'}"


@pytest.fixture
def untidy(tmp_path: Path) -> str:
    path = tmp_path / "untidy.py"
    path.write_text("from datetime import date\nopened = date.today( )\n")
    return str(path)


def test_ruff_finds_nothing() -> None:
    check_finds_nothing("-m", "ruff", "check", "--no-fix")


def test_every_file_is_formatted() -> None:
    check_finds_nothing("-m", "ruff", "format", "--check")


def test_a_clock_read_in_the_wrong_place_is_seen(untidy: str) -> None:
    assert "TID251" in report("-m", "ruff", "check", "--no-fix", CONFIG, untidy)


def test_an_untidy_file_is_seen(untidy: str) -> None:
    assert "would be reformatted" in report("-m", "ruff", "format", "--check", CONFIG, untidy)
