"""Is the record what its history says?

Every entry is rendered again from its rows and hashed; every row must belong to an entry, every entry follow the last.
The rows of all tables are read once, merged by id: an entry's rows are the ids after the last entry's up to its own, so
a missing, foreign or doubled row shows at once. Values are read as they are stored, and none can stop the reading: what
a column cannot hold is named, and the rest is verified.

The edges of the tree that entries carry are only a cache, the newest one excepted: one that differs from the leaves is
named, one that is gone changes nothing that is proven, and is not.
"""

from collections.abc import Callable, Iterator
from typing import Any

from pmcore.engines.merkle import HASH_BYTES, Edge, MerkleError, leaf_hash
from pmcore.models import Entry
from pmcore.models.kinds import KINDS
from pmcore.queries.ahead import Ahead
from pmcore.queries.bodies import body
from pmcore.queries.faults import Report
from pmcore.queries.files import Progress as FileProgress
from pmcore.queries.files import damaged
from pmcore.queries.kept_check import check_kept
from pmcore.queries.marks import check_marks
from pmcore.queries.raw import EntryRow, RecordedRow, entries, highest_id, newest_entry, replacements, rows
from pmcore.queries.stored import described, strange
from pmcore.queries.text_check import TextCheck

Progress = Callable[[int, int], None]
_EVERY = 2_000


def _is_hash(value: Any) -> bool:
    return type(value) is bytes and len(value) == HASH_BYTES


class _Verification:
    def __init__(self, report: Report, newest: EntryRow) -> None:
        self.report = report
        self.size = newest.seq
        self.ceiling = max(highest_id(), newest.last_id if type(newest.last_id) is int else 0)
        self.rows = Ahead(rows(report))
        self.replaced = Ahead(replacements(report))
        self.texts = TextCheck(report)
        self.edge = Edge.empty()
        self.leaves: list[bytes] = []
        self.last_id = 0

    def entry(self, entry: EntryRow, following: EntryRow | None) -> None:
        """Render one entry again from its rows and compare."""
        own = self._rows_of(entry, following)
        replaced = self._replaced_by(entry)
        self.texts.entry(entry, own)
        leaf = _leaf(entry, own, replaced)
        if leaf != entry.leaf:
            self._altered(entry, own, replaced)
        self.leaves.append(entry.leaf if _is_hash(entry.leaf) else leaf or bytes(HASH_BYTES))
        if entry.edge is not None or len(self.leaves) >= _EVERY:
            self._grow(entry)

    def _altered(self, entry: EntryRow, own: list[RecordedRow], replaced: list[int]) -> None:
        listed = ", ".join(f"{row.table.name} {row.id}" for row in own[:5]) or "no rows"
        if replaced:
            listed += f", replacing {', '.join(map(str, replaced[:5]))}"
        self.report.fault(
            "entry_altered",
            f"Entry {entry.seq} ({entry.kind}, about {entry.subject}) is not what was recorded: {listed}.",
            entry.seq,
        )
        if type(entry.leaf) is bytes and not _is_hash(entry.leaf):
            said = f"Entry {entry.seq}: its leaf has {len(entry.leaf)} bytes, a hash has {HASH_BYTES}."
            self.report.fault("leaf_malformed", said, entry.seq)
        for what in strange(Entry, EntryRow._fields, entry):
            self.report.fault("value_strange", f"Entry {entry.seq}: {what}.", entry.seq)
        for row in own:
            for what in strange(row.table.model, [column.name for column in row.table.columns], row.wire):
                self.report.fault("value_strange", f"{row.table.name} {row.id}: {what}.", entry.seq)

    def _grow(self, entry: EntryRow) -> None:
        self.edge = self.edge.add(self.leaves)
        self.leaves.clear()
        if entry.edge is not None and entry.edge != self.edge.to_bytes():
            self.report.fault(
                "edge_altered", f"The stored edge of the tree at entry {entry.seq} is not its root's.", entry.seq
            )

    def _rows_of(self, entry: EntryRow, following: EntryRow | None) -> list[RecordedRow]:
        own: list[RecordedRow] = []
        expected = self.last_id + 1
        for row in self._claimed(entry, following):
            if row.id < expected:
                self._unowned(row)
                continue
            if row.id > expected:
                self._missing(expected, row.id - 1, entry)
            expected = row.id + 1
            self._check_owner(row, entry)
            own.append(row)
        self._end_of_rows(entry, following, expected - 1)
        self.report.rows += len(own)
        return own

    def _claimed(self, entry: EntryRow, following: EntryRow | None) -> Iterator[RecordedRow]:
        """The rows up to the entry's last id; where that makes no sense, those that say they are its own."""
        if self._ends_sensibly(entry, following):
            return self.rows.upto(entry.last_id)
        first = self.last_id + 1
        return self.rows.taken(lambda row: row.id < first or row.entry == entry.seq)

    def _ends_sensibly(self, entry: EntryRow, following: EntryRow | None) -> bool:
        known = following is not None and type(following.last_id) is int
        ceiling = following.last_id if following is not None and known else self.ceiling
        return type(entry.last_id) is int and self.last_id <= entry.last_id <= ceiling

    def _end_of_rows(self, entry: EntryRow, following: EntryRow | None, end: int) -> None:
        if self._ends_sensibly(entry, following):
            if end < entry.last_id:
                self._missing(end + 1, entry.last_id, entry)
            self.last_id = entry.last_id
            return
        if end != entry.last_id:
            said = f"Entry {entry.seq} says that its rows end with {entry.last_id!r}; they end with {end}."
            self.report.fault("entry_end_altered", said, entry.seq)
        self.last_id = end

    def _check_owner(self, row: RecordedRow, entry: EntryRow) -> None:
        kind = KINDS.get(entry.kind)
        if row.entry != entry.seq:
            self.report.fault(
                "row_of_another",
                f"{row.table.name} {row.id} says entry {row.entry}, its id belongs to entry {entry.seq}.",
                entry.seq,
            )
        if kind is None or row.table.model not in kind.rows:
            self.report.fault(
                "row_out_of_kind",
                f"Entry {entry.seq} ({entry.kind}) holds no {row.table.name}, yet has row {row.id}.",
                entry.seq,
            )

    def _unowned(self, row: RecordedRow) -> None:
        self.report.fault("row_unowned", f"{row.table.name} {row.id} belongs to no entry.")

    def _missing(self, first: int, last: int, entry: EntryRow) -> None:
        which = f"Row {first} is" if first == last else f"Rows {first} to {last} are"
        self.report.fault("row_missing", f"{which} missing from entry {entry.seq} ({entry.kind}).", entry.seq)

    def _replaced_by(self, entry: EntryRow) -> list[int]:
        found = []
        for item in self.replaced.upto(entry.seq):
            if item.id == entry.seq:
                found.append(item.row)
            else:
                self._no_replacer(item)
        return sorted(found)

    def _no_replacer(self, item: Any) -> None:
        said = f"{item.table.name} {item.row} is replaced by {item.id}, no such entry."
        self.report.fault("replacer_missing", said)

    def end(self, newest: EntryRow, files: FileProgress | None) -> None:
        """What no entry asked for, and the root. Rows of entries that were appended meanwhile are left alone."""
        now = newest_entry() or newest
        highest = now.last_id if type(now.last_id) is int else self.ceiling
        for row in self.rows.rest():
            later = type(row.entry) is int and self.size < row.entry <= now.seq
            if not later or not self.last_id < row.id <= highest:
                self._unowned(row)
        for item in self.replaced.rest():
            if item.id > now.seq:
                self._no_replacer(item)
        self.texts.end(now.seq)
        for state, file in damaged(self.size, files):
            name = f"The file {str(file.sha256)[:12]}… of entry {file.entry}"
            self.report.fault(f"file_{state}", f"{name} is {state}.", file.entry)
        check_marks(self.report)
        self._root(newest)

    def _root(self, newest: EntryRow) -> None:
        root = self.edge.add(self.leaves).root()
        self.report.root = root.hex()
        try:
            stored = _newest_edge(newest).root()
        except MerkleError as error:
            self.report.fault("head_damaged", f"Entry {newest.seq} is the newest, and {error}.", newest.seq)
            return
        if root != stored:
            said = f"The root of {self.size} entries is {root.hex()}, stored is {stored.hex()}."
            self.report.fault("root_differs", said)


def _newest_edge(newest: EntryRow) -> Edge:
    if type(newest.edge) is not bytes:
        raise MerkleError(f"its right edge holds {described(newest.edge)}")
    return Edge.from_bytes(newest.seq, newest.edge)


def _leaf(entry: EntryRow, own: list[RecordedRow], replaced: list[int]) -> bytes | None:
    """None where a value is of another type than its column's. The numbers stand bare in the body: text among them
    could pose as what follows."""
    person = entry.person
    if type(entry.subject) is not int or not (person is None or type(person) is int):
        return None
    try:
        return leaf_hash(
            body(
                seq=entry.seq,
                at=entry.at,
                kind=entry.kind,
                subject=entry.subject,
                person=person,
                role=entry.role,
                note=entry.note,
                rows=[row.table.render(row.wire) for row in own],
                replaces=replaced,
            )
        )
    except (TypeError, ValueError, AttributeError):
        return None


def verify(progress: Progress | None = None, files: FileProgress | None = None) -> Report:
    """Verify the history up to its size at this moment; entries appended meanwhile are left for the next time.

    `progress(done, size)` is called every 2,000 entries, `files(done, count)` after each attached file. Reads page by
    page and holds no lock. Whatever is stored, it ends in a report.
    """
    report = Report()
    newest = newest_entry()
    if newest is None:
        newest = EntryRow(0, None, None, None, None, None, None, 0, None, b"")
    report.size = newest.seq
    run = _Verification(report, newest)
    expected = 1
    for entry, following in _up_to(newest.seq, report):
        if entry.seq != expected:
            which = f"{expected}" if entry.seq == expected + 1 else f"{expected} to {entry.seq - 1}"
            report.fault("entry_missing", f"Entry {which} is missing.", expected)
        expected = entry.seq + 1
        run.entry(entry, following)
        if progress is not None and entry.seq % _EVERY == 0:
            progress(entry.seq, newest.seq)
    if progress is not None:
        progress(newest.seq, newest.seq)
    run.end(newest, files)
    if report.sound:  # an altered record might not even be readable
        check_kept(report)
    return report


def _up_to(size: int, report: Report) -> Iterator[tuple[EntryRow, EntryRow | None]]:
    """Each entry with the one after it."""
    last: EntryRow | None = None
    for entry in entries(report):
        if entry.seq < 1:
            report.fault("entry_misnumbered", f"There is an entry {entry.seq}; the first is 1.", entry.seq)
            continue
        if entry.seq > size:  # not in the statement: with two bounds PostgreSQL may sort all that is between them
            break
        if last is not None:
            yield last, entry
        last = entry
    if last is not None:
        yield last, None
