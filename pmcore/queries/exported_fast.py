"""Rows rendered by PostgreSQL itself for an export, with the pieces of bodies and of lines of the CSV, so that Python
only joins texts. They are believed nowhere: each body must have the leaf that was recorded. A run in which one has not
is rendered again the usual way (`exported.py`), which also says what is wrong with it."""

from collections.abc import Mapping, Sequence
from functools import cache
from typing import TYPE_CHECKING, Any

from django.db import connection, models

from pmcore.engines.merkle import leaf_hash
from pmcore.models.fields import FreeText
from pmcore.queries.tables import Table

if TYPE_CHECKING:
    _Field = models.Field[Any, Any]
else:
    _Field = models.Field

Pieces = tuple[bytes, str, str, str, str]
"""Of an entry the leaf; the body up to what it replaced, from there to the rows, and after the rows; the line of the
CSV from the kind up to what it replaced."""


def can_render() -> bool:
    return connection.vendor == "postgresql"


def rendered(
    entries: Sequence[tuple[int, Pieces]],
    replaces: Mapping[int, Sequence[int]],
    tables: Sequence[Table],
    before: int,
    ends: Sequence[int],
) -> tuple[list[bytes], list[bytes], list[str]] | None:
    """Leaves, bodies and lines of the CSV of the entries, whose rows have the ids after `before` up to each of `ends`,
    in these tables. `replaces`: the facts that an entry replaced. None: some body is not what was recorded."""
    slots = _rows(tables, before, ends[-1])
    if slots is None:
        return None
    leaves: list[bytes] = []
    bodies: list[bytes] = []
    lines: list[str] = []
    begins = 0
    for (seq, (leaf, opening, role, closing, line)), end in zip(entries, ends, strict=True):
        rows, begins = ",".join(slots[begins : end - before]), end - before
        replaced = [str(row) for row in sorted(replaces.get(seq, ()))]
        named = f',"replaces":[{",".join(replaced)}]' if replaced else ""
        body = f"{opening}{named}{role}{rows}{closing}".encode()
        if leaf_hash(body) != leaf:
            return None
        leaves.append(leaf)
        bodies.append(body)
        moment, doubled = opening[7 : opening.index('"', 7)], rows.replace('"', '""')
        lines.append(f'{seq},{moment},{line}{" ".join(replaced)},"[{doubled}]"\r\n')
    return leaves, bodies, lines


def _rows(tables: Sequence[Table], before: int, last: int) -> list[str] | None:
    """In the order of their ids; an empty text where one is missing. None: one holds what its columns cannot."""
    slots = [""] * (last - before)
    if not slots:
        return slots
    with connection.cursor() as cursor:
        cursor.execute(_of_rows(tuple(tables)), [before + 1, last] * len(tables))
        for row, text in cursor.fetchall():
            if text is None:
                return None
            slots[row - before - 1] += text  # two rows under one id would spoil the leaf
    return slots


@cache
def _of_rows(tables: tuple[Table, ...]) -> str:
    return " UNION ALL ".join(
        f'SELECT id, {_row(table)} FROM "{table.model._meta.db_table}" WHERE id BETWEEN %s AND %s' for table in tables
    )


@cache
def pieces() -> tuple[str, ...]:
    """The columns of an entry that give its `Pieces`."""
    note, person = """coalesce(',"note":' || to_json(note_id), '')""", """coalesce(',"person":' || person, '')"""
    told = [
        "kind",
        "','",
        "subject",
        "','",
        "coalesce(person::text, '')",
        "','",
        "role",
        "','",
        "coalesce(note_id, '')",
    ]
    return (
        "leaf",
        " || ".join(["""'{"at":"'""", f"({_moment('at')})", """'","kind":'""", "to_json(kind)", note, person]),
        """',"role":' || to_json(role) || ',"rows":['""",
        """'],"seq":' || seq || ',"subject":' || subject || '}'""",
        " || ".join([*told, "','"]),
    )


def _row(table: Table) -> str:
    """As `Table.render` writes it: every row has an id, so the commas hang on that."""
    pieces = []
    for at, column in enumerate(table.columns):
        value = _value(table.model._meta.get_field(column.name), f'"{column.column}"')  # type: ignore[arg-type]
        before, after = ("", ",") if at < table.id_at else ("" if at == table.id_at else ",", "")
        piece = f"""'{before}"{column.name}":' || {value} || '{after}'"""
        pieces.append(f"coalesce({piece}, '')" if column.nullable else piece)
    return f"""'{{"{table.name}":{{' || {" || ".join(pieces)} || '}}}}'"""


def _value(field: _Field, column: str) -> str:
    match field:
        case models.BooleanField():
            return f"CASE WHEN {column} THEN 'true' WHEN NOT {column} THEN 'false' END"
        case models.DateTimeField():
            return f"""'"' || ({_moment(column)}) || '"'"""
        case models.DateField():
            return f"""'"' || {column} || '"'"""
        case FreeText() | models.CharField():
            return f"to_json({column})"
    return column


def _moment(column: str) -> str:
    """As bodies write it: a fraction has six digits, or is not there."""
    utc, form = f"{column} AT TIME ZONE 'UTC'", 'YYYY-MM-DD"T"HH24:MI:SS.US'
    whole = f"replace(({utc})::text, ' ', 'T')"
    fraction = f"to_char({utc}, '{form}')"
    return f"CASE WHEN date_trunc('second', {column}) = {column} THEN {whole} ELSE {fraction} END || 'Z'"
