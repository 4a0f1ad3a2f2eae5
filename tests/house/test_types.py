"""Types, strictly."""

from pathlib import Path

import pytest

from tests.house.tools import check_finds_nothing, report

pytestmark = pytest.mark.house


def test_mypy_finds_nothing() -> None:
    check_finds_nothing("-m", "mypy")


def test_a_function_without_types_is_seen(tmp_path: Path) -> None:
    untyped = tmp_path / "untyped.py"
    untyped.write_text("def due(rule): return rule\n")
    assert "no-untyped-def" in report("-m", "mypy", str(untyped))
