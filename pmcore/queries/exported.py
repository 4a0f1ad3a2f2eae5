"""The history as it is exported: the body of each entry, in order.

Entries that were rendered as the history grew come out of their files (`rendered.py`). The others are rendered again
from their rows, in runs whose rows have at most 2,048 ids; the rows come by the range of their ids from the tables that
the run's kinds may hold, and every id must be there. A body must have the leaf that was recorded, when it is rendered:
an export holds nothing that would not verify. No cursor stays open, and what is kept in memory is a few runs.
"""

from bisect import bisect_right
from collections.abc import Callable, Iterator, Mapping, Sequence
from concurrent.futures import Future, ThreadPoolExecutor
from typing import Any, NamedTuple

from pmcore.engines.merkle import leaf_hash
from pmcore.models.kinds import KINDS
from pmcore.queries.ahead import Ahead
from pmcore.queries.bodies import body
from pmcore.queries.exported_csv import csv_line
from pmcore.queries.exported_fast import Asked, can_render, spanned
from pmcore.queries.exported_kept import from_kept
from pmcore.queries.exported_run import Chosen, Run, is_hash, texts_of
from pmcore.queries.faults import Report
from pmcore.queries.head import RecordDamaged
from pmcore.queries.raw import (
    PAGE,
    EntryRow,
    as_bytes,
    entries_between,
    entry_day,
    moments_of,
    outlines,
    replacements,
    rows_between,
)
from pmcore.queries.rendered import Rendered, kept, set_aside, stretch
from pmcore.queries.tables import Table, table_of

Told = Callable[[int], None]
Days = tuple[str, str]
"""The first and the last, in UTC."""


class _Outline(NamedTuple):
    """A run before its values are read: the entries from `first` to `last`, whose rows have the ids after `before` up
    to `last_id`, in these tables. `days`: of their moments, each with the leaf, where they are asked for."""

    first: int
    last: int
    before: int
    last_id: int
    tables: list[Table]
    days: list[tuple[str, bytes]]


def runs(
    size: int, chosen: Chosen | None, days: Days | None = None, told: Told = lambda read: None, *, after: int = 0
) -> Iterator[Run]:
    """The first `size` entries without the first `after`, and what an export shows of those that are `chosen`, or else
    of these `days`; None: of all. Moments need not ascend, so every day is looked at; of a run without one of `days`
    only leaves are read. Whoever takes a run asks nothing of the database, which may be at work on the next one; where
    it is not, `told` is called with how many entries were read. Raises RecordDamaged."""
    coming = before = None
    try:
        for coming in _coming(after, size, chosen, days, told):
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
        self._seqs = range(outline.first, outline.last + 1)
        self._texts = texts_of(self._seqs)
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
        return Run.of(leaves, self._seqs, bodies, lines, self._texts)


_Coming = _Made | _AtOnce


def _coming(after: int, size: int, chosen: Chosen | None, days: Days | None, told: Told) -> Iterator[_Coming]:
    replaced = None
    for first, last, rendered in _stretches(after, size, days):
        told(first - 1)
        picked, run = _as_kept(first, last, rendered, chosen, days)
        if run is not None:
            yield _Made(run)
            replaced = None
            continue
        replaced = replaced or Ahead(replacements(Report(), first - 1, size))
        for outline in _outlines(first, last, with_days=days is not None):
            told(outline.first - 1)
            yield _rendered_anew(outline, picked, days, _replaces(replaced, outline))


def _as_kept(
    first: int, last: int, rendered: Rendered | None, chosen: Chosen | None, days: Days | None
) -> tuple[Chosen | None, Run | None]:
    """Without a run, which of the entries are to be rendered: none is chosen twice."""
    if rendered is None:
        return chosen, None
    seqs, run = from_kept(first, last, rendered, chosen or _within(days))
    if run is None:
        set_aside(first, "the record holds something else")
    return chosen and _among(seqs), run


def _stretches(after: int, size: int, days: Days | None) -> Iterator[tuple[int, int, Rendered | None]]:
    """Each with what was rendered of it, if any of it may be wanted; the next file is read and looked at while this one
    is used."""
    with ThreadPoolExecutor(1) as beside:

        def asked(after: int) -> "Future[Rendered | None] | None":
            first, last = stretch(after, size)
            wanted = first <= last and (days is None or _touches(first, last, days))
            return beside.submit(kept, first, last) if wanted else None

        coming = asked(after)
        while after < size:
            first, last = stretch(after, size)
            rendered = None if coming is None else coming.result()
            coming, after = asked(last), last
            yield first, last, rendered


def _touches(first: int, last: int, days: Days) -> bool:
    begins, ends = moments_of(first, last)
    return not (type(begins) is type(ends) is str and (ends[:10] < days[0] or days[1] < begins[:10]))


def _rendered_anew(
    outline: _Outline, chosen: Chosen | None, days: Days | None, replaces: Mapping[int, Sequence[int]]
) -> _Coming:
    if days is not None and _outside(outline, days):
        return _Made(Run.of([leaf for _, leaf in outline.days], [], [], []))
    if chosen is None and _all_within(outline, days) and can_render():
        return _AtOnce(outline, replaces)
    return _Made(_one_by_one(outline, chosen or _within(days), replaces))


def _replaces(replaced: Ahead, outline: _Outline) -> dict[int, list[int]]:
    found: dict[int, list[int]] = {}
    for each in replaced.upto(outline.last):
        found.setdefault(each.id, []).append(each.row)
    for rows in found.values():
        rows.sort()
    return found


def _among(seqs: Sequence[int]) -> Chosen:
    picked = set(seqs)
    return lambda entry: entry.seq in picked


def _all_within(outline: _Outline, days: Days | None) -> bool:
    return days is None or all(days[0] <= day <= days[1] for day, _ in outline.days)


def _outside(outline: _Outline, days: Days) -> bool:
    return all(not days[0] <= day <= days[1] and is_hash(leaf) for day, leaf in outline.days)


def _within(days: Days | None) -> Chosen | None:
    return None if days is None else lambda entry: days[0] <= str(entry.at)[:10] <= days[1]


def _outlines(first: int, last: int, *, with_days: bool) -> Iterator[_Outline]:
    """Of the entries from `first` to `last`, as many at once as have at most PAGE ids together; one that has more comes
    alone."""
    before, seq = _last_id(first - 1), first - 1
    while seq < last:
        begins, seq = seq + 1, min(seq + PAGE, last)
        whole = None if with_days or not can_render() else _whole_page(begins, seq, before)
        for outline in [whole] if whole is not None else _parts_of_page(begins, seq, before, with_days=with_days):
            yield outline
            before = outline.last_id


def _last_id(seq: int) -> int:
    if not seq:
        return 0
    found = outlines(seq, seq, ())
    if not found or type(found[0][1]) is not int:
        raise RecordDamaged(f"Entry {seq} is missing, or its last id makes no sense.")
    return found[0][1]


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
        if not is_hash(entry.leaf):
            raise RecordDamaged(f"Entry {entry.seq} has no leaf.")
    seqs = [entry.seq for entry in entries if chosen is None or chosen(entry)]
    slots, picked, begins, bodies = _rows_of(outline) if seqs else [], set(seqs), 0, []
    for entry in entries:
        ends = entry.last_id - outline.before
        if entry.seq in picked:
            bodies.append(_body(entry, slots[begins:ends], replaces.get(entry.seq, ())))
        begins = ends
    return Run.of([entry.leaf for entry in entries], seqs, bodies, map(csv_line, bodies))


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
