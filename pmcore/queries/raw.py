"""Rows as they lie in the database, page by page in the order of their keys.

No converter stands between: a converter could read an altered value as the one that was written, or fail on it. On
SQLite a plain unary plus takes a column's declared type away, and the value comes back as it is stored; bytes that are
no UTF-8 come back as lone surrogates. On PostgreSQL days and moments come as text. What cannot even be put in order is
named in the report, and the reading goes on.
"""

import heapq
import re
from collections.abc import Callable, Iterator, Sequence
from operator import attrgetter
from typing import TYPE_CHECKING, Any, NamedTuple, cast

from django.db import OperationalError, connection, models

from pmcore.models import Attachment, Entry, Follower, Job, Placement, Text
from pmcore.models.base import Fact
from pmcore.models.kinds import RECORDED
from pmcore.queries.faults import Report
from pmcore.queries.stored import described
from pmcore.queries.tables import Table, table_of

if TYPE_CHECKING:
    _Field = models.Field[Any, Any]
else:
    _Field = models.Field

PAGE = 2**11

_FRACTION = re.compile(r"\.\d+")


class RecordedRow(NamedTuple):
    """`id` is a whole number; what the other columns hold is to be checked."""

    id: int
    entry: Any
    table: Table
    wire: Sequence[Any]


class Replacement(NamedTuple):
    """`id`: the entry that replaces; `row`: the fact that it replaced."""

    id: int
    row: int
    table: Table


class TextRow(NamedTuple):
    """`id`: the entry that the text came with. Salt and words may be of any type."""

    id: int
    digest: str
    salt: Any
    words: Any


class EntryRow(NamedTuple):
    """`seq` is a whole number; what the other columns hold is to be checked."""

    seq: int
    at: Any
    kind: Any
    subject: Any
    person: Any
    role: Any
    note: Any
    last_id: Any
    leaf: Any
    edge: Any


def _as_stored(field: _Field) -> str:
    """The column as an expression that gives the wire form, whatever the column holds."""
    if connection.vendor == "sqlite":
        return f'+"{field.column}"'
    if isinstance(field, models.DateTimeField):
        return f"(\"{field.column}\" AT TIME ZONE 'UTC')::text"
    if isinstance(field, models.DateField | models.JSONField):
        return f'"{field.column}"::text'
    return f'"{field.column}"'


def _columns(model: type[models.Model], names: Sequence[str]) -> list[str]:
    return [_as_stored(cast(_Field, model._meta.get_field(name))) for name in names]


def _moment_wire(text: Any) -> Any:
    """PostgreSQL leaves the zeros of a fraction away."""
    if type(text) is str and "." in text:
        return _FRACTION.sub(lambda found: found[0].ljust(7, "0"), text, count=1)
    return text


def _all(statement: str, arguments: Sequence[Any]) -> list[tuple[Any, ...]]:
    with connection.cursor() as cursor:
        cursor.execute(statement, arguments)
        return list(cursor.fetchall())


def _fetched(statement: str, arguments: Sequence[Any]) -> list[tuple[Any, ...]]:
    try:
        return _all(statement, arguments)
    except OperationalError as error:
        if connection.vendor != "sqlite" or "decode" not in str(error):
            raise
    driver: Any = connection.connection
    usual, driver.text_factory = driver.text_factory, lambda stored: stored.decode(errors="surrogateescape")
    try:
        return _all(statement, arguments)
    finally:
        driver.text_factory = usual


def _bound(value: Any) -> tuple[str, Any]:
    """A key's value as a mark and an argument. Text that is no UTF-8 goes back as the bytes that it was."""
    try:
        if isinstance(value, str):
            value.encode()
    except UnicodeEncodeError:
        return "CAST(%s AS TEXT)", value.encode(errors="surrogateescape")
    return "%s", value


def _pages(table: str, columns: Sequence[str], key: Sequence[str], where: str = "TRUE") -> Iterator[tuple[Any, ...]]:
    """All rows in the order of the key. `columns` are expressions, the key's first. Keys that are null, where somebody
    made that possible, come first."""
    width = len(key)
    names = ", ".join(f'"{name}"' for name in key)
    empty = " OR ".join(f'"{name}" IS NULL' for name in key)
    filled = " AND ".join(f'"{name}" IS NOT NULL' for name in key)
    select = f'SELECT {", ".join(columns)} FROM "{table}" WHERE {where}'
    yield from _fetched(f"{select} AND ({empty}) LIMIT {PAGE}", [])
    last: Sequence[Any] | None = None
    while True:
        bound = [_bound(value) for value in last or []]
        after = f" AND ({names}) > ({', '.join(mark for mark, _ in bound)})" if bound else ""
        page = _fetched(
            f"{select} AND {filled}{after} ORDER BY {names} LIMIT {PAGE}", [argument for _, argument in bound]
        )
        yield from page
        if len(page) < PAGE:
            return
        last = page[-1][:width]


def _placed(report: Report, name: str, column: str, value: Any) -> bool:
    """Whether the value can be put in order; what cannot is named."""
    if type(value) is int:
        return True
    report.fault("value_strange", f"{name}: {column} holds {described(value)}, not a whole number.")
    return False


def _loaded(table: Table) -> Callable[[Sequence[Any]], Sequence[Any]]:
    """From the driver's values to the wire form."""
    kinds = [type(table.model._meta.get_field(column.name)) for column in table.columns]
    moments = [at for at, kind in enumerate(kinds) if issubclass(kind, models.DateTimeField)]
    if connection.vendor == "sqlite" or not moments:
        return lambda values: values

    def load(values: Sequence[Any]) -> Sequence[Any]:
        wire = list(values)
        for at in moments:
            wire[at] = _moment_wire(wire[at])
        return wire

    return load


def _rows_of(table: Table, report: Report) -> Iterator[RecordedRow]:
    load = _loaded(table)
    columns = _columns(table.model, ["id", "entry", *(column.name for column in table.columns)])
    for values in _pages(table.model._meta.db_table, columns, ["id"]):
        if type(values[0]) is int or _placed(report, f"a {table.name}", "id", values[0]):
            yield RecordedRow(values[0], values[1], table, load(values[2:]))


def rows(report: Report) -> Iterator[RecordedRow]:
    """Every row of every recorded table, in the order of the ids."""
    return heapq.merge(*(_rows_of(table_of(model), report) for model in RECORDED), key=attrgetter("id"))


def replacements(report: Report, after: int = 0, upto: int | None = None) -> Iterator[Replacement]:
    """Every replaced fact, in the order of the entries that replaced them: those after the first `after` entries, and
    up to one."""
    where = "replaced_by IS NOT NULL" + (f" AND replaced_by > {after:d}" if after else "")
    where += "" if upto is None else f" AND replaced_by <= {upto:d}"

    def of(table: Table) -> Iterator[Replacement]:
        names = ["replaced_by", "id"]
        columns = _columns(table.model, names)
        for by, row in _pages(table.model._meta.db_table, columns, names, where):
            if _placed(report, f"{table.name} {row}", "replaced_by", by) and type(row) is int:
                yield Replacement(by, row, table)

    facts = (model for model in RECORDED if issubclass(model, Fact))
    return heapq.merge(*(of(table_of(model)) for model in facts), key=attrgetter("id"))


def as_bytes(value: Any) -> Any:
    return bytes(value) if isinstance(value, memoryview) else value


def texts(report: Report) -> Iterator[TextRow]:
    columns = _columns(Text, ["entry", "digest", "salt", "words"])
    for entry, digest, salt, words in _pages(Text._meta.db_table, columns, ["entry", "digest"]):
        if type(digest) is not str:
            report.fault("value_strange", f"A text of entry {entry!r}: digest holds {described(digest)}, not text.")
        elif _placed(report, f"The text {digest[:12]}…", "entry", entry):
            yield TextRow(entry, digest, as_bytes(salt), words)


def entries(report: Report) -> Iterator[EntryRow]:
    for values in _pages(Entry._meta.db_table, _columns(Entry, EntryRow._fields), ["seq"]):
        entry = EntryRow(*values)
        if type(entry.seq) is int or _placed(report, "an entry", "seq", entry.seq):
            yield entry._replace(at=_moment_wire(entry.at), leaf=as_bytes(entry.leaf), edge=as_bytes(entry.edge))


def entry_day() -> str:
    """The expression of the day, in UTC, on which an entry was written."""
    return f"substr({_columns(Entry, ['at'])[0]}, 1, 10)"


def moments_of(first: int, last: int) -> tuple[Any, Any]:
    """The first and the last moment of the entries from `first` to `last`."""
    [at] = _columns(Entry, ["at"])
    statement = f'SELECT min({at}), max({at}) FROM "{Entry._meta.db_table}" WHERE seq >= %s AND seq <= %s'
    return cast("tuple[Any, Any]", _fetched(statement, [first, last])[0])


def outlines(first: int, last: int, beside: Sequence[str]) -> list[tuple[Any, ...]]:
    """Number, last id and kind of the entries from `first` to `last`, and the expressions `beside` them."""
    columns = ", ".join([*_columns(Entry, ["seq", "last_id", "kind"]), *beside])
    statement = f'SELECT {columns} FROM "{Entry._meta.db_table}" WHERE seq >= %s AND seq <= %s ORDER BY seq'
    return _fetched(statement, [first, last])


def entries_between(first: int, last: int) -> list[EntryRow]:
    """The entries from `first` to `last`, without their edges."""
    columns = ", ".join(_columns(Entry, EntryRow._fields[:-1]))
    statement = f'SELECT {columns} FROM "{Entry._meta.db_table}" WHERE seq >= %s AND seq <= %s ORDER BY seq'
    return [
        EntryRow(seq, _moment_wire(at), kind, subject, person, role, note, last_id, as_bytes(leaf), None)
        for seq, at, kind, subject, person, role, note, last_id, leaf in _fetched(statement, [first, last])
    ]


def leaves_joined(first: int, last: int) -> bytes:
    """The leaves of the entries from `first` to `last`, one after another; without what is no bytes."""
    [leaf] = _columns(Entry, ["leaf"])
    if connection.vendor == "postgresql":  # one value to take, while which other threads may run
        leaf = f"string_agg({leaf}, ''::bytea ORDER BY seq)"
    order = "" if connection.vendor == "postgresql" else "ORDER BY seq"
    statement = f'SELECT {leaf} FROM "{Entry._meta.db_table}" WHERE seq >= %s AND seq <= %s {order}'
    found = (as_bytes(value) for (value,) in _fetched(statement, [first, last]))
    return b"".join(value for value in found if type(value) is bytes)


def rows_between(table: Table, first: int, last: int) -> Iterator[tuple[Any, Sequence[Any]]]:
    """Id and wire form of the table's rows with ids from `first` to `last`."""
    load = _loaded(table)
    columns = _columns(table.model, ["id", *(column.name for column in table.columns)])
    statement = f'SELECT {", ".join(columns)} FROM "{table.model._meta.db_table}" WHERE id >= %s AND id <= %s'
    return ((values[0], load(values[1:])) for values in _fetched(statement, [first, last]))


def placements() -> Iterator[tuple[Any, ...]]:
    """id, entry, replaced_by, device, area and first day of every placement, in the order of their ids."""
    names = ["id", "entry", "replaced_by", "device", "area", "from_on"]
    return _pages(Placement._meta.db_table, _columns(Placement, names), ["id"])


def texts_between(first: int, last: int) -> list[TextRow]:
    """The texts of the entries from `first` to `last`."""
    columns = ", ".join(_columns(Text, ["entry", "digest", "salt", "words"]))
    statement = f'SELECT {columns} FROM "{Text._meta.db_table}" WHERE entry >= %s AND entry <= %s'
    found = (TextRow(*values) for values in _fetched(statement, [first, last]))
    return [text._replace(salt=as_bytes(text.salt)) for text in found]


def newest_entry() -> EntryRow | None:
    found = _fetched(
        f'SELECT {", ".join(_columns(Entry, EntryRow._fields))} FROM "{Entry._meta.db_table}" '
        "WHERE seq IS NOT NULL ORDER BY seq DESC LIMIT 1",
        [],
    )
    return EntryRow(*found[0])._replace(edge=as_bytes(found[0][-1])) if found else None


def highest_id() -> int:
    """The highest id of any row."""
    found = [_fetched(f'SELECT max("id") FROM "{model._meta.db_table}"', [])[0][0] for model in RECORDED]
    return max((highest for highest in found if type(highest) is int), default=0)


def restored(digests: Sequence[str]) -> list[tuple[Any, Any]]:
    """Digest and entry of those of these texts that have words."""
    bound = [_bound(digest) for digest in digests]
    marks = ", ".join(mark for mark, _ in bound)
    columns = ", ".join(_columns(Text, ["digest", "entry"]))
    return [
        (digest, entry)
        for digest, entry in _fetched(
            f'SELECT {columns} FROM "{Text._meta.db_table}" WHERE words IS NOT NULL AND digest IN ({marks})',
            [argument for _, argument in bound],
        )
    ]


def attachments() -> Iterator[tuple[Any, ...]]:
    """id, entry, sha256 and size of each attached file."""
    names = ["id", "entry", "sha256", "size"]
    return _pages(Attachment._meta.db_table, _columns(Attachment, names), ["id"])


def followers() -> Iterator[tuple[Any, ...]]:
    """Name and mark of each reader of the history."""
    names = ["name", "seen"]
    return _pages(Follower._meta.db_table, _columns(Follower, names), ["name"])


def verified_before() -> Iterator[tuple[Any, ...]]:
    """Id and answer, as JSON text, of each job that has verified the record."""
    names = ["id", "answer"]
    where = "kind = 'verify_record' AND answer IS NOT NULL"
    return _pages(Job._meta.db_table, _columns(Job, names), ["id"], where)
