"""The plain statements of the writer: values in wire form, no model instances."""

from collections.abc import Iterable, Sequence
from typing import Any

from django.db.backends.base.base import BaseDatabaseWrapper


def insert(connection: BaseDatabaseWrapper, table: str, columns: Sequence[str], rows: Sequence[Sequence[Any]]) -> None:
    """Insert the rows into the table inside the caller's transaction. `COPY` on PostgreSQL, which also says which
    constraint was broken; one prepared statement on SQLite."""
    names = ", ".join(f'"{name}"' for name in columns)
    with connection.cursor() as cursor:
        if connection.vendor == "postgresql":
            # The driver's own method: its errors become Django's here, as `execute` would have done.
            with connection.wrap_database_errors, cursor.copy(f'COPY "{table}" ({names}) FROM STDIN') as copy:
                for row in rows:
                    copy.write_row(row)
        else:
            marks = ", ".join(["%s"] * len(columns))
            cursor.executemany(f'INSERT INTO "{table}" ({names}) VALUES ({marks})', rows)


def owners(connection: BaseDatabaseWrapper, table: str, column: str, ids: Iterable[int]) -> dict[int, int]:
    """What the column of each of these rows holds; rows that are not there are left out."""
    listed = ", ".join(str(int(number)) for number in ids)
    with connection.cursor() as cursor:
        cursor.execute(f'SELECT id, "{column}" FROM "{table}" WHERE id IN ({listed})')
        return dict(cursor.fetchall())


def existing(connection: BaseDatabaseWrapper, table: str, ids: set[int]) -> set[int]:
    """Which of the ids are in the table."""
    if not ids:
        return set()
    listed = ", ".join(str(int(number)) for number in ids)
    with connection.cursor() as cursor:
        cursor.execute(f'SELECT id FROM "{table}" WHERE id IN ({listed})')
        return {number for (number,) in cursor.fetchall()}
