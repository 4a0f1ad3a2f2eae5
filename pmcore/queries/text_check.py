"""Is every free text what the entries say: there, unaltered, or taken out by a redaction?"""

from collections.abc import Sequence

from pmcore.models import Redaction, Text
from pmcore.queries.ahead import Ahead
from pmcore.queries.bodies import text_digest
from pmcore.queries.faults import Report
from pmcore.queries.raw import EntryRow, RecordedRow, TextRow, restored, texts
from pmcore.queries.stored import is_text, strange

_AT_ONCE = 500


class TextCheck:
    """The texts in the order of their entries, beside the entries. What was emptied is held until the end: the entry
    that took it out comes later."""

    def __init__(self, report: Report) -> None:
        self.report = report
        self.texts = Ahead(texts(report))
        self.redacted: set[str] = set()
        self.emptied: dict[str, int] = {}

    def entry(self, entry: EntryRow, own: Sequence[RecordedRow]) -> None:
        """Each digest of the entry has its text."""
        wanted = {entry.note} if entry.note else set()
        for row in own:
            wanted.update(row.wire[at] for at in row.table.free_text_at if row.wire[at])
            if row.table.model is Redaction and is_text(digest := row.wire[row.table.column_at("text")]):
                self.redacted.add(digest)
        for text in self.texts.upto(entry.seq):
            self.report.texts += 1
            if text.id != entry.seq or text.digest not in wanted:
                self._unowned(text, entry.seq)
                continue
            wanted.discard(text.digest)
            self._check(text, entry.seq)
        for digest in sorted(value for value in wanted if type(value) is str):
            self.report.fault("text_missing", f"A text {digest[:12]}… of entry {entry.seq} is missing.", entry.seq)

    def _unowned(self, text: TextRow, seq: int | None) -> None:
        self.report.fault(
            "text_unowned", f"The text {text.digest[:12]}… of entry {text.id} belongs to no row.", seq
        )  # fmt: skip

    def _check(self, text: TextRow, seq: int) -> None:
        if text.words is None and text.salt is None:
            self.emptied[text.digest] = seq
            return
        name = f"A text {text.digest[:12]}… of entry {seq}"
        odd = list(strange(Text, ["salt", "words"], [text.salt, text.words]))
        for what in odd:
            self.report.fault("value_strange", f"{name}: {what}.", seq)
        if odd or not _holds(text):
            self.report.fault("text_altered", f"{name} was altered.", seq)

    def end(self, newest_size: int) -> None:
        """What no entry asked for, what was emptied without a redaction, and what has words in spite of one."""
        for text in self.texts.rest():
            if text.id > newest_size:
                self._unowned(text, None)
        for digest, seq in self.emptied.items():
            if digest not in self.redacted and not Redaction.objects.filter(text=digest).exists():
                self.report.fault(
                    "text_emptied", f"A text {digest[:12]}… of entry {seq} was emptied without a redaction.", seq
                )
        gone = sorted(self.redacted)
        for first in range(0, len(gone), _AT_ONCE):
            for digest, entry in restored(gone[first : first + _AT_ONCE]):
                self.report.fault(
                    "text_restored",
                    f"A text {digest[:12]}… of entry {entry} was taken out by a redaction, and has words again.",
                    entry if type(entry) is int else None,
                )


def _holds(text: TextRow) -> bool:
    try:
        return text.words is not None and text.salt is not None and text_digest(text.salt, text.words) == text.digest
    except ValueError:  # a salt of another length, in which words could hide
        return False
