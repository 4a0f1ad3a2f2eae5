"""The history as it is exported: the body of each entry, rendered again from its rows, in order, page by page.

Entries are read in runs whose rows have at most 2,000 ids; the rows come by the range of their ids from the tables that
the run's kinds may hold, and every id must be there. What is rendered must have the leaf that was recorded: an export
holds nothing that would not verify. No cursor stays open, and what is kept in memory is two runs.
"""

from bisect import bisect_right
from collections.abc import Callable, Iterator, Mapping, Sequence
from dataclasses import dataclass
from typing import Any, NamedTuple

from pmcore.engines.merkle import HASH_BYTES, leaf_hash
from pmcore.models.kinds import KINDS
from pmcore.queries.ahead import Ahead
from pmcore.queries.bodies import body
from pmcore.queries.exported_csv import csv_line
from pmcore.queries.exported_fast import Asked, can_render, spanned
from pmcore.queries.faults import Report
from pmcore.queries.head import RecordDamaged
from pmcore.queries.raw import (
    PAGE,
    EntryRow,
    TextRow,
    as_bytes,
    entries_between,
    entry_day,
    outlines,
    replacements,
    rows_between,
    texts_between,
)
from pmcore.queries.tables import Table, table_of

Chosen = Callable[[EntryRow], bool]
Told = Callable[[int], None]
Days = tuple[str, str]
"""The first and the last, in UTC."""


@dataclass(slots=True)
class Run:
    """Entries one after another: the leaf of each, and of those that were chosen the number, the body and the line of
    the CSV, with their free texts."""

    leaves: list[bytes]
    seqs: list[int]
    bodies: list[bytes]
    lines: list[bytes]
    texts: list[TextRow]


class _Outline(NamedTuple):
    """A run before its values are read: the entries from `first` to `last`, whose rows have the ids after `before` up
    to `last_id`, in these tables. `days`: of their moments, each with the leaf, where they are asked for."""

    first: int
    last: int
    before: int
    last_id: int
    tables: list[Table]
    days: list[tuple[str, bytes]]


def runs(size: int, chosen: Chosen | None, days: Days | None = None, told: Told = lambda read: None) -> Iterator[Run]:
    """The first `size` entries, and what an export shows of those that are `chosen`, or else of these `days`; None: of
    all. Moments need not ascend, so every day is looked at; of a run without one of `days` only leaves are read.
    Whoever takes a run asks nothing of the database, which may be at work on the next one; where it is not, `told` is
    called with how many entries were read. Raises RecordDamaged."""
    coming = before = None
    try:
        for coming in _coming(size, chosen, days, told):
            if before is not None:
                yield before.run(beside=coming)
            coming.take()
            before = coming
        if before is not None:
            yield before.run(beside=before)
    finally:
        if coming is not None:
            coming.leave()


class _Made:
    """A run that the database has nothing more to do for."""

    def __init__(self, run: Run) -> None:
        self._run = run

    def take(self) -> None: ...

    def leave(self) -> None: ...

    def run(self, beside: "_Coming") -> Run:
        return self._run


class _AtOnce:
    """A run that PostgreSQL renders by itself."""

    def __init__(self, outline: _Outline, replaces: Mapping[int, Sequence[int]]) -> None:
        self._outline, self._replaces = outline, replaces
        self._seqs = list(range(outline.first, outline.last + 1))
        self._texts = _texts_of(self._seqs)
        ids = (outline.before + 1, outline.last_id)
        self._asked = Asked(outline.tables, (outline.first, outline.last), ids)
        self.take, self.leave = self._asked.take, self._asked.leave

    def run(self, beside: "_Coming") -> Run:
        """`beside`: what PostgreSQL may be at work on."""
        judged = self._asked.judged(self._replaces)
        if judged is None:
            beside.take()
            return _one_by_one(self._outline, None, self._replaces)
        leaves, bodies, lines = judged
        return Run(leaves, self._seqs, bodies, lines, self._texts)


_Coming = _Made | _AtOnce


def _coming(size: int, chosen: Chosen | None, days: Days | None, told: Told) -> Iterator[_Coming]:
    replaced = Ahead(replacements(Report()))
    for outline in _outlines(size, with_days=days is not None):
        told(outline.first - 1)
        replaces: dict[int, list[int]] = {}
        for each in replaced.upto(outline.last):
            replaces.setdefault(each.id, []).append(each.row)
        for rows in replaces.values():
            rows.sort()
        if days is not None and _outside(outline, days):
            yield _Made(Run([leaf for _, leaf in outline.days], [], [], [], []))
        elif chosen is None and _all_within(outline, days) and can_render():
            yield _AtOnce(outline, replaces)
        else:
            yield _Made(_one_by_one(outline, chosen or _within(days), replaces))


def _all_within(outline: _Outline, days: Days | None) -> bool:
    return days is None or all(days[0] <= day <= days[1] for day, _ in outline.days)


def _outside(outline: _Outline, days: Days) -> bool:
    return all(not days[0] <= day <= days[1] and _is_hash(leaf) for day, leaf in outline.days)


def _within(days: Days | None) -> Chosen | None:
    return None if days is None else lambda entry: days[0] <= str(entry.at)[:10] <= days[1]


def _outlines(size: int, *, with_days: bool) -> Iterator[_Outline]:
    """Entries whose rows have at most PAGE ids together; one that has more comes alone."""
    before = seq = 0
    while seq < size:
        first, seq = seq + 1, min(seq + PAGE, size)
        whole = None if with_days or not can_render() else _whole_page(first, seq, before)
        for outline in [whole] if whole is not None else _parts_of_page(first, seq, before, with_days=with_days):
            yield outline
            before = outline.last_id


def _whole_page(first: int, last: int, before: int) -> _Outline | None:
    """None: they are too many rows for one run, or something is wrong, which a closer look will name."""
    entries, last_id, kinds = spanned(first, last)
    fits = entries == last - first + 1 and before <= last_id <= before + PAGE
    return _Outline(first, last, before, last_id, _tables_of(set(kinds)), []) if fits else None


def _parts_of_page(first: int, last: int, before: int, *, with_days: bool) -> Iterator[_Outline]:
    page = outlines(first, last, (entry_day(), "leaf") if with_days else ())
    if [each[0] for each in page] != list(range(first, last + 1)):
        raise RecordDamaged(f"One of the entries {first} to {last} is missing.")
    ends = [each[1] for each in page]
    if {*map(type, ends)} != {int} or ends != sorted(ends) or ends[0] < before:
        raise RecordDamaged(f"The last ids of the entries {first} to {last} make no sense.")
    at = 0
    while at < len(page):
        to = max(at + 1, bisect_right(ends, before + PAGE, at))
        tables = _tables_of({each[2] for each in page[at:to]})
        days = [(str(each[3]), as_bytes(each[4])) for each in page[at:to]] if with_days else []
        yield _Outline(first + at, first + to - 1, before, ends[to - 1], tables, days)
        at, before = to, ends[to - 1]


def _one_by_one(outline: _Outline, chosen: Chosen | None, replaces: Mapping[int, Sequence[int]]) -> Run:
    entries = entries_between(outline.first, outline.last)
    for entry in entries:
        if not _is_hash(entry.leaf):
            raise RecordDamaged(f"Entry {entry.seq} has no leaf.")
    seqs = [entry.seq for entry in entries if chosen is None or chosen(entry)]
    run = Run([entry.leaf for entry in entries], seqs, [], [], _texts_of(seqs))
    slots, picked, begins = _rows_of(outline) if seqs else [], set(seqs), 0
    for entry in entries:
        ends = entry.last_id - outline.before
        if entry.seq in picked:
            rows, replaced = slots[begins:ends], replaces.get(entry.seq, ())
            run.bodies.append(_body(entry, rows, replaced))
            run.lines.append(csv_line(run.bodies[-1]))
        begins = ends
    return run


def _is_hash(value: Any) -> bool:
    return type(value) is bytes and len(value) == HASH_BYTES


def _rows_of(outline: _Outline) -> list[str]:
    """The rows of the run as bodies show them, by their ids; an empty text where one is missing."""
    slots = [""] * (outline.last_id - outline.before)
    for table in outline.tables if slots else ():
        render = table.render
        for row, wire in rows_between(table, outline.before + 1, outline.last_id):
            try:
                slots[row - outline.before - 1] += render(wire)  # two rows under one id would spoil the leaf
            except (TypeError, ValueError) as error:
                raise RecordDamaged(f"{table.name} {row} holds what its column cannot: {error}") from error
    return slots


def _tables_of(kinds: set[Any]) -> list[Table]:
    if not kinds <= KINDS.keys():
        raise RecordDamaged(f"There are entries of unknown kinds, {sorted(map(str, kinds - KINDS.keys()))[:3]}.")
    models = {model for kind in kinds for model in KINDS[kind].rows}
    return [table_of(model) for model in sorted(models, key=lambda model: model.record_name())]


def _texts_of(seqs: list[int]) -> list[TextRow]:
    """In the order of entries and hashes; those that were taken out have no words."""
    if not seqs:
        return []
    picked = set(seqs)
    found = (text for text in texts_between(seqs[0], seqs[-1]) if text.id in picked)
    return sorted(found, key=lambda text: (text.id, text.digest))


def _body(entry: EntryRow, rows: Sequence[str], replaces: Sequence[int]) -> bytes:
    try:
        rendered = body(
            seq=entry.seq, at=entry.at, kind=entry.kind, subject=entry.subject, person=entry.person, role=entry.role,
            note=entry.note, rows=rows, replaces=replaces,
        )  # fmt: skip
    except (TypeError, ValueError) as error:
        raise RecordDamaged(f"Entry {entry.seq} holds what its column cannot: {error}") from error
    if not all(rows) or leaf_hash(rendered) != entry.leaf:
        raise RecordDamaged(f"Entry {entry.seq} is not what was recorded.")
    return rendered
