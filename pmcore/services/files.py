"""Photos and reports: written and synced under their hash first, then named by a fact."""

import datetime as dt
import hashlib
import os
import tempfile
import unicodedata
from pathlib import Path
from typing import BinaryIO

from pmcore.engines.records import Actor
from pmcore.models import Attachment
from pmcore.models.kinds import THINGS
from pmcore.models.rows import Row
from pmcore.queries.files import folder, path_of
from pmcore.queries.whereabouts import site_of
from pmcore.services.append import append
from pmcore.services.permissions import check_role, check_site
from pmcore.services.refusals import RecordRefused, UnknownReference
from pmcore.services.requests import Receipt, Request, answered
from pmcore.services.values import check_values

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
    limit_bytes: int = LARGEST,
    request: Request | None = None,
) -> Receipt:
    """Keep the file and say what it belongs to. The same content is kept once.

    Raises FileTooLarge, FileEmpty, BadValue, UnknownReference, WrongSite, NotAllowed; then no file is kept. It is
    written before the transaction, so that the lock never waits for a disk or a slow sender.
    """
    if (earlier := answered(actor, request, "file_attached")) is not None:
        return earlier
    check_role(actor, "attach a file")
    _check_thing(actor, thing, at.date())
    name = unicodedata.normalize("NFC", name)  # some systems name files in decomposed characters
    check_values(_row(thing, "0" * 64, 1, media_type, name))
    sha256, size = _keep(stream, limit_bytes)
    row = _row(thing, sha256, size, media_type, name)
    return append("file_attached", thing, [row], actor=actor, at=at, request=request)


def _row(thing: int, sha256: str, size: int, media_type: str, name: str) -> Row:
    return Row(Attachment, thing=thing, sha256=sha256, size=size, media_type=media_type, name=name)


def _check_thing(actor: Actor, thing: int, on: dt.date) -> None:
    for model in THINGS:
        found = model.objects.filter(pk=thing).first()
        if found is not None:
            return check_site(actor, site_of(found, on))
    raise UnknownReference("thing", [thing])


def _keep(stream: BinaryIO, limit_bytes: int) -> tuple[str, int]:
    """Write aside, sync, rename, sync the folders: after a crash the file is whole or not there."""
    folder().mkdir(mode=0o700, parents=True, exist_ok=True)
    handle, aside = tempfile.mkstemp(dir=folder(), prefix=".")  # mode 0600
    try:
        with os.fdopen(handle, "wb") as file:
            sha256, size = _copy(stream, file, limit_bytes)
            file.flush()
            os.fsync(file.fileno())
        kept = path_of(sha256)
        kept.parent.mkdir(mode=0o700, exist_ok=True)
        Path(aside).replace(kept)
        for directory in (kept.parent, folder(), folder().parent):
            _sync(directory)
    finally:
        Path(aside).unlink(missing_ok=True)
    return sha256, size


def _copy(stream: BinaryIO, file: BinaryIO, limit_bytes: int) -> tuple[str, int]:
    digest, size = hashlib.sha256(), 0
    while chunk := stream.read(_CHUNK):
        size += len(chunk)
        if size > limit_bytes:
            raise FileTooLarge(f"The file is larger than {limit_bytes:,} bytes.")
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
