"""The history as it is exported: the body of each entry, rendered again from its rows, in order, page by page.

Entries are read in runs whose rows have at most 2,000 ids; the rows come by the range of their ids from the tables that
the run's kinds may hold, and every id must be there. What is rendered must have the leaf that was recorded: an export
holds nothing that would not verify. No cursor stays open, and what is kept in memory is one run.
"""

from collections.abc import Callable, Iterator, Sequence
from dataclasses import dataclass
from typing import Any

from pmcore.engines.merkle import HASH_BYTES, leaf_hash
from pmcore.models.kinds import KINDS
from pmcore.queries.ahead import Ahead
from pmcore.queries.bodies import body
from pmcore.queries.faults import Report
from pmcore.queries.head import RecordDamaged
from pmcore.queries.raw import PAGE, EntryRow, TextRow, entries_after, replacements, rows_between, texts_between
from pmcore.queries.tables import Table, table_of

Chosen = Callable[[EntryRow], bool]


@dataclass(frozen=True, slots=True)
class ExportedEntry:
    """An entry's columns as they are stored, the rows as they stand in its body, what it replaces, and the body."""

    entry: EntryRow
    rows: Sequence[str]
    replaces: Sequence[int]
    body: bytes


@dataclass(frozen=True, slots=True)
class Run:
    """Entries one after another: the leaf of each, those that were chosen, and the free texts of these."""

    leaves: list[bytes]
    chosen: list[ExportedEntry]
    texts: list[TextRow]


def runs(size: int, chosen: Chosen) -> Iterator[Run]:
    """The first `size` entries, and of those that are `chosen` all that an export shows. Raises RecordDamaged."""
    replaced = Ahead(replacements(Report()))
    last_id = 0
    for entries in _runs(size):
        wanted = [entry for entry in entries if chosen(entry)]
        slots = _rows_of(entries, last_id) if wanted else []
        texts = _texts_of(wanted)
        picked = {entry.seq for entry in wanted}
        told, first_id = [], last_id
        for entry in entries:
            replaces = [each.row for each in replaced.upto(entry.seq)]
            if entry.seq in picked:
                told.append(_told(entry, slots[last_id - first_id : entry.last_id - first_id], sorted(replaces)))
            last_id = entry.last_id
        yield Run([entry.leaf for entry in entries], told, texts)


def _runs(size: int) -> Iterator[list[EntryRow]]:
    """Entries whose rows have at most PAGE ids together; one that has more comes alone."""
    run: list[EntryRow] = []
    seq = last_id = first_id = 0
    while page := entries_after(seq, size):
        for entry in page:
            seq += 1
            if (
                entry.seq != seq
                or type(entry.last_id) is not int
                or entry.last_id < last_id
                or not _is_hash(entry.leaf)
            ):
                raise RecordDamaged(f"Entry {seq} is missing, or its number, last id or leaf make no sense.")
            if run and (entry.last_id - first_id > PAGE or len(run) >= PAGE):
                yield run
                run, first_id = [], last_id
            run.append(entry)
            last_id = entry.last_id
    if seq != size:
        raise RecordDamaged(f"Entry {seq + 1} is missing.")
    if run:
        yield run


def _is_hash(value: Any) -> bool:
    return type(value) is bytes and len(value) == HASH_BYTES


def _rows_of(entries: list[EntryRow], last_id: int) -> list[str]:
    """The rows of the run as bodies show them, by their ids; an empty text where one is missing."""
    slots = [""] * (entries[-1].last_id - last_id)
    if not slots:
        return slots
    for table in _tables_of(entries):
        render = table.render
        for row, wire in rows_between(table, last_id + 1, entries[-1].last_id):
            try:
                slots[row - last_id - 1] += render(wire)  # two rows under one id would spoil the leaf
            except (TypeError, ValueError) as error:
                raise RecordDamaged(f"{table.name} {row} holds what its column cannot: {error}") from error
    return slots


def _tables_of(entries: list[EntryRow]) -> list[Table]:
    kinds = {entry.kind for entry in entries}
    if not kinds <= KINDS.keys():
        raise RecordDamaged(f"There are entries of unknown kinds, {sorted(map(str, kinds - KINDS.keys()))[:3]}.")
    models = {model for kind in kinds for model in KINDS[kind].rows}
    return [table_of(model) for model in sorted(models, key=lambda model: model.record_name())]


def _texts_of(wanted: list[EntryRow]) -> list[TextRow]:
    """In the order of entries and hashes; those that were taken out have no words."""
    if not wanted:
        return []
    picked = {entry.seq for entry in wanted}
    found = (text for text in texts_between(wanted[0].seq, wanted[-1].seq) if text.id in picked)
    return sorted(found, key=lambda text: (text.id, text.digest))


def _told(entry: EntryRow, rows: Sequence[str], replaces: Sequence[int]) -> ExportedEntry:
    try:
        rendered = body(
            seq=entry.seq, at=entry.at, kind=entry.kind, subject=entry.subject, person=entry.person, role=entry.role,
            note=entry.note, rows=rows, replaces=replaces,
        )  # fmt: skip
    except (TypeError, ValueError) as error:
        raise RecordDamaged(f"Entry {entry.seq} holds what its column cannot: {error}") from error
    if not all(rows) or leaf_hash(rendered) != entry.leaf:
        raise RecordDamaged(f"Entry {entry.seq} is not what was recorded.")
    return ExportedEntry(entry, rows, replaces, rendered)
