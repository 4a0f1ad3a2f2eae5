"""The migrations say what the models say."""

import pytest

from tests.house.tools import check_finds_nothing

pytestmark = pytest.mark.house


def test_no_migration_is_missing() -> None:
    check_finds_nothing("manage.py", "makemigrations", "--check", "--dry-run")
