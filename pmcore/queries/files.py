"""Files lie on disk under their hash."""

import hashlib
import re
from collections.abc import Iterator
from io import BufferedReader
from pathlib import Path

from django.conf import settings

from pmcore.models import Attachment

_PAGE = 2_000
_SHA256 = re.compile(r"[0-9a-f]{64}")


class NoSuchFile(LookupError):
    """No file is kept under this hash."""


def folder() -> Path:
    return Path(settings.DATA) / "files"


def path_of(sha256: str) -> Path:
    return folder() / sha256[:2] / sha256


def open_file(sha256: str) -> BufferedReader:
    """The kept file, to be read and closed. Raises NoSuchFile."""
    if not _SHA256.fullmatch(sha256):
        raise NoSuchFile(f"{sha256!r} is no SHA-256 in hexadecimal.")
    try:
        return path_of(sha256).open("rb")
    except FileNotFoundError:
        raise NoSuchFile(f"No file is kept under {sha256}.") from None


def damaged(known: int) -> Iterator[tuple[str, Attachment]]:
    """Attachments of the first `known` entries whose file is `missing`, `unreadable` or `altered`. Reads each whole."""
    last = 0
    while page := list(Attachment.objects.filter(entry__lte=known, pk__gt=last).order_by("pk")[:_PAGE]):
        for attachment in page:
            state = _state(attachment)
            if state is not None:
                yield state, attachment
        last = page[-1].pk


def _state(attachment: Attachment) -> str | None:
    try:
        with open_file(attachment.sha256) as file:
            same = hashlib.file_digest(file, "sha256").hexdigest() == attachment.sha256
            return None if same and file.tell() == attachment.size else "altered"
    except NoSuchFile:
        return "missing"
    except OSError:
        return "unreadable"
