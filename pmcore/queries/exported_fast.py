"""Bodies rendered by PostgreSQL itself, for an export of everything: one statement for a run, and no value of it passes
through Python. It goes on by itself while the run before is hashed and written. It is believed nowhere: each body must
have the leaf that was recorded. A run in which one has not is rendered again the usual way (`exported.py`), which also
says what is wrong with it."""

from collections.abc import Mapping, Sequence
from contextlib import ExitStack
from functools import cache
from typing import TYPE_CHECKING, Any, cast

from django.db import connection, models

from pmcore.engines.merkle import hashed_leaves
from pmcore.models import Entry
from pmcore.models.fields import FreeText
from pmcore.queries.exported_csv import csv_line
from pmcore.queries.tables import Table

if TYPE_CHECKING:
    import psycopg

    _Field = models.Field[Any, Any]
else:
    _Field = models.Field

Judged = tuple[list[bytes], list[bytes], list[bytes]]
"""Leaves, bodies and lines of the CSV."""


def can_render() -> bool:
    return connection.vendor == "postgresql"


class Asked:
    """The entries from and to these numbers, whose rows have the ids from and to in these tables. PostgreSQL has been
    asked for them and renders; nothing else may be asked of it until they are taken."""

    def __init__(self, tables: Sequence[Table], seqs: tuple[int, int], ids: tuple[int, int]) -> None:
        from psycopg import Cursor  # here, for SQLite needs none of it
        from psycopg.types.string import ByteaBinaryLoader

        connection.ensure_connection()
        driver = cast("psycopg.Connection[Any]", connection.connection)
        self._seqs = seqs
        self._found: list[tuple[bytes, bytes]] | None = None
        self._cursor: psycopg.Cursor[Any] = Cursor(driver)
        self._cursor.adapters.register_loader("text", ByteaBinaryLoader)  # never a str, only to become bytes again
        bounds = [*seqs, *(bound for _ in tables for bound in ids)]
        with connection.wrap_database_errors, ExitStack() as under_way:
            under_way.enter_context(driver.pipeline())  # in which a statement is sent, and not waited for
            self._cursor.execute(_statement(tuple(tables)), bounds, binary=True)
            self._under_way = under_way.pop_all()

    def take(self) -> None:
        """Wait for them, if that was not done before."""
        if self._found is None:
            with connection.wrap_database_errors, self._under_way:
                self._found = self._cursor.fetchall()

    def leave(self) -> None:
        """They are not wanted any more, or have been taken: the database is free again."""
        self._under_way.close()

    def judged(self, replaces: Mapping[int, Sequence[int]]) -> Judged | None:
        """What was taken. `replaces`: by entry, the ids of the facts that it replaced, ascending. None: some body is
        not what was recorded."""
        found, (first, last) = self._found or [], self._seqs
        if len(found) != last - first + 1:
            return None
        leaves, bodies = [leaf for leaf, _ in found], [body for _, body in found]
        for seq, rows in replaces.items():
            listed = ",".join(map(str, rows)).encode()
            bodies[seq - first] = bodies[seq - first].replace(b',"role":', b',"replaces":[%b],"role":' % listed, 1)
        if hashed_leaves(bodies) != leaves:
            return None
        return leaves, bodies, [csv_line(body) for body in bodies]


def spanned(first: int, last: int) -> tuple[int, int, list[str]]:
    """Of the entries from `first` to `last`: how many there are, the highest of their last ids, and their kinds."""
    statement = (
        "SELECT count(*), coalesce(max(last_id), 0), coalesce(array_agg(DISTINCT kind), '{}') "
        f'FROM "{Entry._meta.db_table}" WHERE seq BETWEEN %s AND %s'
    )
    with connection.cursor() as cursor:
        cursor.execute(statement, [first, last])
        return cast("tuple[int, int, list[str]]", cursor.fetchone())


@cache
def _statement(tables: tuple[Table, ...]) -> str:
    """`concat` takes a null for nothing, `||` gives a null for it; one `concat` of many pieces is the faster."""
    parts = " UNION ALL ".join(
        f'SELECT id, entry, {_row(table)} AS row FROM "{table.model._meta.db_table}" WHERE id BETWEEN %s AND %s'
        for table in tables
    )
    # Put in order once for all: in the aggregate, each entry would be sorted by itself.
    ordered = f"SELECT * FROM ({parts}) parts ORDER BY entry, id"
    rows = f"SELECT entry, string_agg(row, ',') AS rows FROM ({ordered}) ordered GROUP BY entry"
    body = (
        """'{"at":"', moment, '","kind":"', kind, '",', '"note":"' || note_id || '",', '"person":' || person || ',', """
        """'"role":"', role, '","rows":[', rows, '],"seq":', seq, ',"subject":', subject, '}'"""
    )
    # OFFSET 0: so that each moment is rendered once.
    entries = (
        f"SELECT seq, kind, subject, person, role, note_id, leaf, {_moment('at')} AS moment "
        f'FROM "{Entry._meta.db_table}" WHERE seq BETWEEN %s AND %s OFFSET 0'
    )
    return (
        f"SELECT leaf, concat({body}) "
        f"FROM ({entries}) entries LEFT JOIN ({rows}) whole ON whole.entry = seq ORDER BY seq"
    )


def _row(table: Table) -> str:
    """As `Table.render` writes it: every row has an id, so the commas hang on that."""
    text, pieces = f'{{"{table.name}":{{', []
    for at, column in enumerate(table.columns):
        mark, value = _value(table.model._meta.get_field(column.name), f'"{column.column}"')  # type: ignore[arg-type]
        before, after = ("", ",") if at < table.id_at else ("" if at == table.id_at else ",", "")
        named = f'{before}"{column.name}":{mark}'
        if column.nullable:
            piece = f"""CASE WHEN "{column.column}" IS NOT NULL THEN concat('{named}', {value}, '{mark}{after}') END"""
            pieces += [f"'{text}'", piece]
            text = ""
        else:
            pieces += [f"'{text}{named}'", value]
            text = f"{mark}{after}"
    return f"concat({', '.join(pieces)}, '{text}}}}}')"


def _value(field: _Field, column: str) -> tuple[str, str]:
    """What stands on both sides of it, and the expression."""
    match field:
        case models.BooleanField():
            return "", f"CASE WHEN {column} THEN 'true' ELSE 'false' END"
        case models.DateTimeField():
            return '"', _moment(column)
        case models.DateField() | FreeText():
            return '"', column
        case models.CharField():
            return "", f"to_json({column})"
    return "", column


def _moment(column: str) -> str:
    """As bodies write it: a fraction has six digits, or is not there."""
    utc, form = f"{column} AT TIME ZONE 'UTC'", 'YYYY-MM-DD"T"HH24:MI:SS.US'
    whole = f"replace(({utc})::text, ' ', 'T')"
    fraction = f"to_char({utc}, '{form}')"
    return f"CASE WHEN date_trunc('second', {column}) = {column} THEN {whole} ELSE {fraction} END || 'Z'"
