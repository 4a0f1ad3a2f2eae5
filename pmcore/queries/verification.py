"""Is the record what its history says?

Every entry is rendered again from its rows and hashed; every row must belong to an entry, every entry follow the last.
The rows of all tables are read once, merged by id: an entry's rows are the ids after the last entry's up to its own, so
a missing, foreign or doubled row shows at once.
"""

from collections.abc import Callable, Iterator
from dataclasses import dataclass, field
from typing import Any

from pmcore.engines.merkle import Edge, leaf_hash
from pmcore.models import Redaction
from pmcore.models.kinds import KINDS
from pmcore.queries.bodies import body, text_digest
from pmcore.queries.files import damaged
from pmcore.queries.head import RecordDamaged, head
from pmcore.queries.raw import EntryRow, RecordedRow, TextRow, entries, replacements, rows, texts

Progress = Callable[[int, int], None]
_EVERY = 2_000


@dataclass(frozen=True, slots=True)
class Fault:
    """Something that does not match: what is wrong, with which entry, and in which row."""

    code: str
    says: str
    seq: int | None = None

    def __str__(self) -> str:
        return self.says


@dataclass(slots=True)
class Report:
    """What a verification found. `root` is the root that was computed from the rows, in hexadecimal."""

    size: int = 0
    rows: int = 0
    texts: int = 0
    root: str = ""
    faults: list[Fault] = field(default_factory=list)

    @property
    def sound(self) -> bool:
        return not self.faults


class _Verification:
    def __init__(self, size: int, last_id: int) -> None:
        self.report = Report(size=size)
        self.size = size
        self.last_id = last_id
        self.rows = _Ahead(rows())
        self.replaced = _Ahead(replacements())
        self.texts = _Ahead(texts())
        self.edge = Edge.empty()
        self.leaves: list[bytes] = []
        self.redacted: set[str] = set()
        self.emptied: dict[str, int] = {}

    def fault(self, code: str, says: str, seq: int | None = None) -> None:
        self.report.faults.append(Fault(code, says, seq))

    def entry(self, entry: EntryRow, previous_id: int) -> None:
        """Render one entry again from its rows and compare."""
        own = self._rows_of(entry, previous_id)
        replaced = self._replaced_by(entry)
        self._texts_of(entry, own)
        leaf = self._leaf(entry, own, replaced)
        if leaf != entry.leaf:
            listed = ", ".join(f"{row.table.name} {row.id}" for row in own[:5]) or "no rows"
            if replaced:
                listed += f", replacing {', '.join(map(str, replaced[:5]))}"
            self.fault(
                "entry_altered",
                f"Entry {entry.seq} ({entry.kind}, about {entry.subject}) is not what was recorded: {listed}.",
                entry.seq,
            )
        self.leaves.append(bytes(entry.leaf))
        if entry.edge is not None or len(self.leaves) >= _EVERY:
            self._grow(entry)

    def _grow(self, entry: EntryRow) -> None:
        self.edge = self.edge.add(self.leaves)
        self.leaves.clear()
        if entry.edge is not None and entry.edge != self.edge.to_bytes():
            self.fault(
                "edge_altered", f"The stored edge of the tree at entry {entry.seq} is not its root's.", entry.seq
            )

    def _leaf(self, entry: EntryRow, own: list[RecordedRow], replaced: list[int]) -> bytes | None:
        try:
            return leaf_hash(
                body(
                    seq=entry.seq,
                    at=entry.at,
                    kind=entry.kind,
                    subject=entry.subject,
                    person=entry.person,
                    role=entry.role,
                    note=entry.note,
                    rows=[row.table.render(row.wire) for row in own],
                    replaces=replaced,
                )
            )
        except (TypeError, ValueError, AttributeError):  # a value of another type than its column's
            return None

    def _rows_of(self, entry: EntryRow, previous_id: int) -> list[RecordedRow]:
        own: list[RecordedRow] = []
        kind = KINDS.get(entry.kind)
        expected = previous_id + 1
        for row in self.rows.upto(entry.last_id):
            if row.id < expected:
                self.fault("row_unowned", f"{row.table.name} {row.id} belongs to no entry.")
                continue
            if row.id > expected:
                self._missing(expected, row.id - 1, entry)
            expected = row.id + 1
            if row.entry != entry.seq:
                self.fault(
                    "row_of_another",
                    f"{row.table.name} {row.id} says entry {row.entry}, its id belongs to entry {entry.seq}.",
                    entry.seq,
                )
            if kind is None or row.table.model not in kind.rows:
                self.fault(
                    "row_out_of_kind",
                    f"Entry {entry.seq} ({entry.kind}) holds no {row.table.name}, yet has row {row.id}.",
                    entry.seq,
                )
            own.append(row)
        if expected <= entry.last_id:
            self._missing(expected, entry.last_id, entry)
        self.report.rows += len(own)
        return own

    def _missing(self, first: int, last: int, entry: EntryRow) -> None:
        which = f"Row {first} is" if first == last else f"Rows {first} to {last} are"
        self.fault("row_missing", f"{which} missing from entry {entry.seq} ({entry.kind}).", entry.seq)

    def _replaced_by(self, entry: EntryRow) -> list[int]:
        found = []
        for item in self.replaced.upto(entry.seq):
            if item.id != entry.seq:
                self.fault("replacer_missing", f"{item.table.name} {item.row} is replaced by {item.id}, no such entry.")
            else:
                found.append(item.row)
        return sorted(found)

    def _texts_of(self, entry: EntryRow, own: list[RecordedRow]) -> None:
        """Free text: each digest of the entry has its text, unaltered or redacted by an entry that says so."""
        wanted = {entry.note} if entry.note else set()
        for row in own:
            wanted.update(row.wire[at] for at in row.table.free_text_at if row.wire[at])
            if row.table.model is Redaction:
                self.redacted.add(row.wire[row.table.column_at("text")])
        for text in self.texts.upto(entry.seq):
            self.report.texts += 1
            if text.id != entry.seq or text.digest not in wanted:
                self.fault(
                    "text_unowned", f"The text {text.digest[:12]}… of entry {text.id} belongs to no row.", entry.seq
                )
                continue
            wanted.discard(text.digest)
            self._check_text(text, entry)
        for digest in sorted(wanted):
            self.fault("text_missing", f"A text {digest[:12]}… of entry {entry.seq} is missing.", entry.seq)

    def _check_text(self, text: TextRow, entry: EntryRow) -> None:
        if text.words is None and text.salt is None:
            self.emptied[text.digest] = entry.seq
        elif not _holds(text):
            self.fault("text_altered", f"A text {text.digest[:12]}… of entry {entry.seq} was altered.", entry.seq)

    def end(self, stored_root: bytes) -> Report:
        """What no entry asked for, and the root."""
        newest = head().last_id
        for row in self.rows.rest():
            if row.id <= self.last_id or row.entry <= self.size or row.id > newest:
                self.fault("row_unowned", f"{row.table.name} {row.id} belongs to no entry.")
        newest_size = head().size
        for item in self.replaced.rest():
            if item.id > newest_size:
                self.fault("replacer_missing", f"{item.table.name} {item.row} is replaced by {item.id}, no such entry.")
        for text in self.texts.rest():
            if text.id > newest_size:
                self.fault("text_unowned", f"The text {text.digest[:12]}… of entry {text.id} belongs to no row.")
        for digest, seq in self.emptied.items():
            if digest not in self.redacted and not _redacted_since(digest):
                self.fault(
                    "text_emptied", f"A text {digest[:12]}… of entry {seq} was emptied without a redaction.", seq
                )
        for state, attachment in damaged(self.size):
            file = f"The file {attachment.sha256[:12]}… of entry {attachment.entry}"
            self.fault(f"file_{state}", f"{file} is {state}.", attachment.entry)
        root = self.edge.add(self.leaves).root()
        self.report.root = root.hex()
        if root != stored_root:
            self.fault(
                "root_differs", f"The root of {self.size} entries is {root.hex()}, stored is {stored_root.hex()}."
            )
        return self.report


class _Ahead:
    """A stream in the order of `.id`, taken up to a bound."""

    def __init__(self, stream: Iterator[Any]) -> None:
        self._stream = stream
        self._next = next(stream, None)

    def upto(self, bound: int) -> Iterator[Any]:
        while self._next is not None and self._next.id <= bound:
            item = self._next
            self._next = next(self._stream, None)
            yield item

    def rest(self) -> Iterator[Any]:
        while self._next is not None:
            item = self._next
            self._next = next(self._stream, None)
            yield item


def _holds(text: TextRow) -> bool:
    try:
        return text.words is not None and text.salt is not None and text_digest(text.salt, text.words) == text.digest
    except (ValueError, AttributeError):  # a salt of another length; words that are no text
        return False


def _redacted_since(digest: str) -> bool:
    return bool(Redaction.objects.filter(text=digest).exists())


def verify(progress: Progress | None = None) -> Report:
    """Verify the history up to its size at this moment; entries appended meanwhile are left for the next time.

    `progress(done, size)` is called every 2,000 entries. Reads page by page and holds no lock.
    """
    try:
        newest = head()
    except (RecordDamaged, ValueError) as error:
        report = Report()
        report.faults.append(Fault("head_damaged", str(error)))
        return report
    run = _Verification(newest.size, newest.last_id)
    expected, previous_id = 1, 0
    for entry in entries(newest.size):
        if entry.seq != expected:
            which = f"{expected}" if entry.seq == expected + 1 else f"{expected} to {entry.seq - 1}"
            run.fault("entry_missing", f"Entry {which} is missing.", expected)
        expected = entry.seq + 1
        run.entry(entry, previous_id)
        previous_id = entry.last_id
        if progress is not None and entry.seq % _EVERY == 0:
            progress(entry.seq, newest.size)
    if progress is not None:
        progress(newest.size, newest.size)
    return run.end(newest.root)
