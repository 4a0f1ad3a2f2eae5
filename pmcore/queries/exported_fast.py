"""Bodies rendered by PostgreSQL itself, for an export of everything: one statement for a run, and no value of it passes
through Python. It is believed nowhere: each body must have the leaf that was recorded. A run in which one has not is
rendered again the usual way (`exported.py`), which also says what is wrong with it."""

from collections.abc import Mapping, Sequence
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
    tables: Sequence[Table], seqs: tuple[int, int], ids: tuple[int, int], replaces: Mapping[int, Sequence[int]]
) -> tuple[list[bytes], list[bytes], list[str]] | None:
    """Leaves, bodies and lines of the CSV of the entries from and to these numbers, whose rows have the ids from and to
    in these tables; `replaces`: by entry, the ids of the facts that it replaced, ascending. None: some body is not what
    was recorded."""
    with connection.cursor() as cursor:
        cursor.execute(_statement(tuple(tables)), [*seqs, *(bound for _ in tables for bound in ids)])
        found = cursor.fetchall()
    if len(found) != seqs[1] - seqs[0] + 1:
        return None
    leaves = [bytes(leaf) for leaf, _, _ in found]
    bodies, lines = [body for _, body, _ in found], [line for _, _, line in found]
    for seq, rows in replaces.items():
        at, said = seq - seqs[0], [str(row) for row in rows]
        bodies[at] = bodies[at].replace(',"role":', f',"replaces":[{",".join(said)}],"role":', 1)
        lines[at] = lines[at].replace(',,"[', f',{" ".join(said)},"[', 1)
    whole = [body.encode() for body in bodies]
    return (leaves, whole, lines) if leaves == [leaf_hash(each) for each in whole] else None


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
    line = (
        "seq, ',', moment, ',', kind, ',', subject, ',', person, ',', role, ',', note_id, "
        """',,"[', replace(rows, '"', '""'), ']"', chr(13), chr(10)"""
    )
    # OFFSET 0: so that each moment is rendered once.
    entries = (
        f"SELECT seq, kind, subject, person, role, note_id, leaf, {_moment('at')} AS moment "
        f'FROM "{Entry._meta.db_table}" WHERE seq BETWEEN %s AND %s OFFSET 0'
    )
    return (
        f"SELECT leaf, concat({body}), concat({line}) "
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
