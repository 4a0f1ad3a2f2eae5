"""Files lie on disk under their hash."""

import hashlib
from collections.abc import Iterator
from pathlib import Path

from django.conf import settings

from pmcore.models import Attachment

_PAGE = 2_000


def folder() -> Path:
    return Path(settings.DATA) / "files"


def path_of(sha256: str) -> Path:
    return folder() / sha256[:2] / sha256


def damaged(known: int) -> Iterator[tuple[str, Attachment]]:
    """Attachments of the first `known` entries whose file is `missing` or `altered`, each file read whole."""
    last = 0
    while page := list(Attachment.objects.filter(entry__lte=known, pk__gt=last).order_by("pk")[:_PAGE]):
        for attachment in page:
            path = path_of(attachment.sha256)
            if not path.is_file():
                yield "missing", attachment
            elif path.stat().st_size != attachment.size or _sha256(path) != attachment.sha256:
                yield "altered", attachment
        last = page[-1].pk


def _sha256(path: Path) -> str:
    with path.open("rb") as file:
        return hashlib.file_digest(file, "sha256").hexdigest()
