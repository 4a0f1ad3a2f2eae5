"""What an export shows of entries, kept in files beside the record as it grows: a body that is written never changes.

A file is of a stretch of entries that follow one another: a first line that seals the rest, the lines of the CSV, the
bodies. Whoever wrote it had held each body against its recorded leaf; the seal says so, and is worth what the server's
secret is worth. A file that is missing or altered is rendered again from the rows, if they still are what was recorded.
"""

from contextlib import suppress
from dataclasses import dataclass
from hashlib import sha256
from pathlib import Path
from typing import Self

import structlog
from django.conf import settings
from django.utils.crypto import constant_time_compare, salted_hmac

from pmcore.engines.merkle import HASH_BYTES
from pmcore.queries.exported_csv import CSV_FORM

log = structlog.get_logger(__name__)

STRETCH = 2**12
"""Entries; a power of two, so that their tree is a branch of every larger one, and whole pages."""


@dataclass(frozen=True, slots=True)
class Rendered:
    """Of the entries from `first` on: the root of their leaves, the hash of these one after another, and the lines of
    the CSV and of the NDJSON."""

    first: int
    root: bytes
    leaves_hash: bytes
    csv: bytes
    ndjson: bytes

    def to_bytes(self) -> bytes:
        return b"%b\n%b%b" % (self._seal(), self.csv, self.ndjson)

    @classmethod
    def from_bytes(cls, data: bytes) -> Self | None:
        """What `to_bytes` wrote with our key; None: it is something else."""
        starts = data.find(b"\n") + 1
        seal = data[: max(starts - 1, 0)]
        try:
            _form, first, root, leaves_hash, length, *_hashes = seal.decode().split(" ")
            ends = starts + int(length)
            made = cls(int(first), bytes.fromhex(root), bytes.fromhex(leaves_hash), data[starts:ends], data[ends:])
        except ValueError:
            return None
        return made if len(made.root) == HASH_BYTES and constant_time_compare(seal, made._seal()) else None

    def _seal(self) -> bytes:
        hashes = f"{sha256(self.csv).hexdigest()} {sha256(self.ndjson).hexdigest()}"
        said = f"{CSV_FORM} {self.first} {self.root.hex()} {self.leaves_hash.hex()} {len(self.csv)} {hashes}"
        return f"{said} {salted_hmac('rendered entries', said, algorithm='sha256').hexdigest()}".encode()


def rendered_folder() -> Path:
    """Another one for another key or form: what lies in a folder may be taken."""
    mark = salted_hmac("rendered folder", CSV_FORM, algorithm="sha256").hexdigest()[:16]
    return Path(settings.DATA) / "rendered" / mark


def file_of(first: int) -> Path:
    """The place for the entries from `first` on."""
    return rendered_folder() / f"{first:012}"


def stretch(after: int, size: int) -> tuple[int, int]:
    """The first and the last entry of the stretch that follows the first `after` entries, of `size` ones."""
    return after + 1, min((after // STRETCH + 1) * STRETCH, size)


def whole_stretches(size: int) -> list[tuple[int, int]]:
    """The whole stretches within `size`."""
    return [stretch(after, size) for after in range(0, size - STRETCH + 1, STRETCH)]


def kept(first: int, last: int) -> Rendered | None:
    """Of the entries from `first` to `last`, if they are one whole stretch; None: nothing usable is there."""
    if last - first + 1 != STRETCH:
        return None
    try:
        found = Rendered.from_bytes(file_of(first).read_bytes())
    except OSError:
        return None
    if found is None or found.first != first:
        set_aside(first, "it is not what was written")
        return None
    return found


def set_aside(first: int, why: str) -> None:
    """So that it is rendered again; until it is, the file stays for whoever looks into it."""
    log.warning("entries that were rendered for exports are not used", first=first, why=why)
    with suppress(OSError):
        file_of(first).replace(rendered_folder() / f".{file_of(first).name}-unused")
