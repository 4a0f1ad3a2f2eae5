"""The embedded database runs as it was decided: each of these was once lost without anybody noticing."""

import sqlite3

import pytest
from django.db import connection

from pmcore.environment import journal_mode

pytestmark = [
    pytest.mark.django_db,
    pytest.mark.skipif("connection.vendor != 'sqlite'", reason="the embedded database"),
]


@pytest.mark.parametrize(
    ("pragma", "value"),
    [
        ("journal_mode", journal_mode(sqlite3.sqlite_version_info).lower()),
        ("synchronous", 2),
        ("recursive_triggers", 1),
        ("foreign_keys", 1),
    ],
)
def test_a_pragma_is_set(pragma: str, value: object) -> None:
    with connection.cursor() as cursor:
        cursor.execute(f"PRAGMA {pragma}")
        assert cursor.fetchone()[0] == value


def test_transactions_ask_for_the_lock_at_their_start() -> None:
    assert connection.transaction_mode == "IMMEDIATE"  # type: ignore[attr-defined]
