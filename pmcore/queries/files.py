"""Files lie on disk under their hash."""

import hashlib
import re
from collections.abc import Callable, Iterator
from io import BufferedReader
from pathlib import Path
from typing import Any, NamedTuple

from django.conf import settings

from pmcore.models import Attachment
from pmcore.queries.raw import attachments

Progress = Callable[[int, int], None]

_SHA256 = re.compile(r"[0-9a-f]{64}")


class NoSuchFile(LookupError):
    """No file is kept under this hash."""


def folder() -> Path:
    return Path(settings.DATA) / "files"


def path_of(sha256: str) -> Path:
    return folder() / sha256[:2] / sha256


def open_file(sha256: str) -> BufferedReader:
    """The kept file, to be read and closed. Raises NoSuchFile."""
    if type(sha256) is not str or not _SHA256.fullmatch(sha256):
        raise NoSuchFile(f"{sha256!r} is no SHA-256 in hexadecimal.")
    try:
        return path_of(sha256).open("rb")
    except FileNotFoundError:
        raise NoSuchFile(f"No file is kept under {sha256}.") from None


class AttachedFile(NamedTuple):
    """What a fact says of its file, as it is stored: `entry` is a whole number, the rest may be of any type."""

    id: int
    entry: int
    sha256: Any
    size: Any


def damaged(known: int, progress: Progress | None = None) -> Iterator[tuple[str, AttachedFile]]:
    """Attachments of the first `known` entries whose file is `missing`, `unreadable` or `altered`.

    Reads each file whole, in pieces; `progress(done, count)` is called after each.
    """
    count = Attachment.objects.filter(entry__lte=known).count() if progress is not None else 0
    done = 0
    for values in attachments():
        attached = AttachedFile(*values)
        if type(attached.entry) is not int or attached.entry > known:
            continue
        state = _state(attached)
        if state is not None:
            yield state, attached
        done += 1
        if progress is not None:
            progress(done, count)


def _state(attached: AttachedFile) -> str | None:
    try:
        with open_file(attached.sha256) as file:
            same = hashlib.file_digest(file, "sha256").hexdigest() == attached.sha256
            return None if same and file.tell() == attached.size else "altered"
    except NoSuchFile:
        return "missing"
    except OSError:
        return "unreadable"
