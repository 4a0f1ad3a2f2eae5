"""Photos and reports: written and synced under their hash first, then named by a fact."""

import datetime as dt
import hashlib
import os
import tempfile
from pathlib import Path
from typing import BinaryIO

from pmcore.engines.records import Actor
from pmcore.models import Attachment
from pmcore.models.rows import Row
from pmcore.queries.files import folder, path_of
from pmcore.services.append import append
from pmcore.services.permissions import check_role
from pmcore.services.refusals import RecordRefused
from pmcore.services.requests import Receipt, Request

LARGEST = 25 * 2**20
_CHUNK = 2**18


class FileTooLarge(RecordRefused):
    """The file is larger than the limit."""


class FileEmpty(RecordRefused):
    """The file has no content."""


def attach_file(
    *,
    thing: int,
    stream: BinaryIO,
    name: str,
    media_type: str,
    actor: Actor,
    at: dt.datetime,
    largest: int = LARGEST,
    request: Request | None = None,
) -> Receipt:
    """Keep the file and say what it belongs to. The same content is kept once. Raises FileTooLarge, FileEmpty.

    A file whose fact was refused stays on disk: it harms nothing, and a second try finds it.
    """
    check_role(actor, "attach a file")
    sha256, size = _keep(stream, largest)
    row = Row(Attachment, thing=thing, sha256=sha256, size=size, media_type=media_type, name=name)
    return append("file_attached", thing, [row], actor=actor, at=at, request=request)


def _keep(stream: BinaryIO, largest: int) -> tuple[str, int]:
    """Write aside, sync, rename, sync the folder: after a crash the file is whole or not there."""
    folder().mkdir(mode=0o700, parents=True, exist_ok=True)
    handle, aside = tempfile.mkstemp(dir=folder(), prefix=".")  # mode 0600
    try:
        with os.fdopen(handle, "wb") as file:
            sha256, size = _copy(stream, file, largest)
            file.flush()
            os.fsync(file.fileno())
        kept = path_of(sha256)
        kept.parent.mkdir(mode=0o700, exist_ok=True)
        Path(aside).replace(kept)
        for directory in (kept.parent, folder()):
            _sync(directory)
    finally:
        Path(aside).unlink(missing_ok=True)
    return sha256, size


def _copy(stream: BinaryIO, file: BinaryIO, largest: int) -> tuple[str, int]:
    digest, size = hashlib.sha256(), 0
    while chunk := stream.read(_CHUNK):
        size += len(chunk)
        if size > largest:
            raise FileTooLarge(f"The file is larger than {largest:,} bytes.")
        digest.update(chunk)
        file.write(chunk)
    if not size:
        raise FileEmpty("The file has no content.")
    return digest.hexdigest(), size


def _sync(directory: Path) -> None:
    handle = os.open(directory, os.O_RDONLY)
    try:
        os.fsync(handle)
    finally:
        os.close(handle)
