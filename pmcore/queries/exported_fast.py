"""Bodies rendered by PostgreSQL itself, for an export of everything: one statement for a run, and no value of it passes
through Python. It is believed nowhere: each body must have the leaf that was recorded. A run in which one has not is
rendered again the usual way (`exported.py`), which also says what is wrong with it."""

from collections.abc import Sequence
from functools import cache
from typing import TYPE_CHECKING, Any

from django.db import connection, models

from pmcore.engines.merkle import leaf_hash
from pmcore.models import Entry
from pmcore.models.fields import FreeText
from pmcore.queries.tables import Table

if TYPE_CHECKING:
    _Field = models.Field[Any, Any]
else:
    _Field = models.Field


def can_render() -> bool:
    return connection.vendor == "postgresql"


def rendered(
    tables: Sequence[Table], seqs: tuple[int, int], ids: tuple[int, int]
) -> tuple[list[bytes], list[bytes], list[str]] | None:
    """Leaves, bodies and lines of the CSV of the entries from and to these numbers, whose rows have the ids from and to
    in these tables; none of the entries may replace a fact. None: some body is not what was recorded."""
    with connection.cursor() as cursor:
        cursor.execute(_statement(tuple(tables)), [*seqs, *(bound for _ in tables for bound in ids)])
        found = cursor.fetchall()
    if len(found) != seqs[1] - seqs[0] + 1:
        return None
    leaves = [bytes(leaf) for leaf, _, _ in found]
    bodies = [(body or "").encode() for _, body, _ in found]
    return (leaves, bodies, [line for _, _, line in found]) if leaves == [leaf_hash(each) for each in bodies] else None


@cache
def _statement(tables: tuple[Table, ...]) -> str:
    parts = " UNION ALL ".join(
        f'SELECT id, entry, {_row(table)} AS row FROM "{table.model._meta.db_table}" WHERE id BETWEEN %s AND %s'
        for table in tables
    )
    rows = f"SELECT entry, string_agg(row, ',' ORDER BY id) AS rows FROM ({parts}) parts GROUP BY entry"
    body = [
        """'{"at":"'""", "moment", """'","kind":'""", "to_json(kind)",
        """coalesce(',"note":' || to_json(note_id), '')""", """coalesce(',"person":' || person, '')""",
        """',"role":'""", "to_json(role)", """',"rows":['""", "rows", """'],"seq":'""", "seq", """',"subject":'""",
        "subject", "'}'",
    ]  # fmt: skip
    line = [
        "seq", "','", "moment", "','", "kind", "','", "subject", "','", "coalesce(person::text, '')", "','",
        "role", "','", "coalesce(note_id, '')", """',,"['""", """replace(rows, '"', '""')""", """']"'""", "chr(13)",
        "chr(10)",
    ]  # fmt: skip
    # OFFSET 0: so that each moment is rendered once.
    entries = f'SELECT *, {_moment("at")} AS moment FROM "{Entry._meta.db_table}" WHERE seq BETWEEN %s AND %s OFFSET 0'
    return (
        f"SELECT leaf, {' || '.join(body)}, {' || '.join(line)} "
        f"FROM ({entries}) entries LEFT JOIN ({rows}) whole ON whole.entry = seq ORDER BY seq"
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
