"""Rows as they lie in the database, page by page in the order of their ids.

No converter stands between: a converter could read an altered value as the one that was written. On SQLite a plain
unary plus takes a column's declared type away, and the value comes back as it is stored.
"""

import heapq
from collections.abc import Callable, Iterator, Sequence
from operator import attrgetter
from typing import Any, NamedTuple

from django.db import connection

from pmcore.models import Entry, Text
from pmcore.models.base import Fact
from pmcore.models.kinds import RECORDED
from pmcore.queries.columns import Column, moment_wire
from pmcore.queries.tables import Table, table_of

PAGE = 2_000


class RecordedRow(NamedTuple):
    id: int
    entry: int
    table: Table
    wire: Sequence[Any]


class Replacement(NamedTuple):
    """`id`: the entry that replaces; `row`: the fact that it replaced."""

    id: int
    row: int
    table: Table


class TextRow(NamedTuple):
    """`id`: the entry that the text came with."""

    id: int
    digest: str
    salt: bytes | None
    words: str | None


class EntryRow(NamedTuple):
    seq: int
    at: str
    kind: str
    subject: int
    person: int | None
    role: str
    note: str | None
    last_id: int
    leaf: bytes
    edge: bytes | None


def _as_stored(column: str) -> str:
    return f'+"{column}"' if connection.vendor == "sqlite" else f'"{column}"'


def _as_wire(column: Column) -> str:
    if connection.vendor == "postgresql" and column.is_day:
        return f'"{column.column}"::text'
    return _as_stored(column.column)


def _pages(table: str, columns: Sequence[str], key: Sequence[str], where: str = "TRUE") -> Iterator[tuple[Any, ...]]:
    """All rows in the order of the key, which is unique and not null. `columns` are expressions, the key's first."""
    width = len(key)
    names = ", ".join(f'"{name}"' for name in key)
    selected = ", ".join(columns)
    marks = ", ".join(["%s"] * width)
    last: Sequence[Any] | None = None
    while True:
        after = f" AND ({names}) > ({marks})" if last is not None else ""
        with connection.cursor() as cursor:
            cursor.execute(
                f'SELECT {selected} FROM "{table}" WHERE {where}{after} ORDER BY {names} LIMIT {PAGE}', last or []
            )
            page = cursor.fetchall()
        yield from page
        if len(page) < PAGE:
            return
        last = page[-1][:width]


def _loaded(table: Table) -> Callable[[Sequence[Any]], Sequence[Any]]:
    """From the driver's values to the wire form."""
    loads = [(at, column.load) for at, column in enumerate(table.columns) if column.load is not None]
    if connection.vendor == "sqlite" or not loads:
        return lambda values: values

    def load(values: Sequence[Any]) -> Sequence[Any]:
        wire = list(values)
        for at, take in loads:
            if wire[at] is not None:
                wire[at] = take(wire[at])
        return wire

    return load


def _rows_of(table: Table) -> Iterator[RecordedRow]:
    load = _loaded(table)
    columns = ["id", "entry", *(_as_wire(column) for column in table.columns)]
    for values in _pages(table.model._meta.db_table, columns, ["id"]):
        yield RecordedRow(values[0], values[1], table, load(values[2:]))


def rows() -> Iterator[RecordedRow]:
    """Every row of every recorded table, in the order of the ids."""
    return heapq.merge(*(_rows_of(table_of(model)) for model in RECORDED), key=attrgetter("id"))


def replacements() -> Iterator[Replacement]:
    """Every replaced fact, in the order of the entries that replaced them."""

    def of(table: Table) -> Iterator[Replacement]:
        columns = ["replaced_by", "id"]
        for values in _pages(table.model._meta.db_table, columns, columns, "replaced_by IS NOT NULL"):
            yield Replacement(values[0], values[1], table)

    facts = (model for model in RECORDED if issubclass(model, Fact))
    return heapq.merge(*(of(table_of(model)) for model in facts), key=attrgetter("id"))


def texts() -> Iterator[TextRow]:
    columns = [_as_stored(name) for name in ("entry", "digest", "salt", "words")]
    for entry, digest, salt, words in _pages(Text._meta.db_table, columns, ["entry", "digest"]):
        yield TextRow(entry, digest, None if salt is None else bytes(salt), words)


def entries(size: int) -> Iterator[EntryRow]:
    names = ["seq", "at", "kind", "subject", "person", "role", "note_id", "last_id", "leaf", "edge"]
    columns = [_as_stored(name) for name in names]
    load = moment_wire if connection.vendor != "sqlite" else None
    for values in _pages(Entry._meta.db_table, columns, ["seq"]):
        entry = EntryRow(*values)
        if entry.seq > size:  # not in the statement: with two bounds PostgreSQL may sort all that is between them
            return
        yield entry._replace(
            at=load(entry.at) if load is not None else entry.at,
            leaf=bytes(entry.leaf),
            edge=None if entry.edge is None else bytes(entry.edge),
        )
