"""What exports show is rendered as the history grows, so that an export is there soon after it was asked for."""

import os
import shutil
import tempfile
from contextlib import suppress
from functools import reduce
from hashlib import sha256
from pathlib import Path
from random import SystemRandom

import structlog

from pmcore.engines.merkle import Edge
from pmcore.queries.exported import runs
from pmcore.queries.head import RecordDamaged, head
from pmcore.queries.rendered import Rendered, file_of, rendered_folder, whole_stretches

log = structlog.get_logger(__name__)

AT_ONCE = 100
"""Stretches: some seconds of work."""
LEAST_FREE = 2**30
"""Bytes of the disk, which the record may need."""


def keep_rendered(*, most: int = AT_ONCE) -> int:
    """Render whole stretches that no file is there for, at most so many; how many were. What is damaged stays without a
    file, and whoever exports it is told. Killed at any moment, a file is there whole or not at all.

    Raises RecordDamaged for a record without a head, OSError for a folder that cannot be written."""
    size = head().size
    _clear(size)
    missing = [each for each in whole_stretches(size) if not file_of(each[0]).exists()]
    SystemRandom().shuffle(missing)  # so that no damaged one, which is tried again and again, is in the others' way
    rendered, damaged = 0, []
    for first, last in missing[:most]:
        if shutil.disk_usage(rendered_folder()).free < LEAST_FREE:
            log.warning("too little is free on the disk to render the history for exports")
            break
        try:
            _keep(_rendered(first, last))
            rendered += 1
        except RecordDamaged as error:
            damaged.append(str(error))
    if damaged:
        log.warning("entries could not be rendered for exports", stretches=len(damaged), one=damaged[0])
    return rendered


def _clear(size: int) -> None:
    """Make the folder, and take away what is of another key or form, or of entries that are not there."""
    folder = rendered_folder()
    folder.mkdir(mode=0o700, parents=True, exist_ok=True)
    for other in folder.parent.iterdir():
        if other != folder:
            shutil.rmtree(other, ignore_errors=True)
    there = {file_of(first).name for first, _ in whole_stretches(size)}
    for path in folder.iterdir():
        if not path.name.startswith(".") and path.name not in there:
            path.unlink(missing_ok=True)


def _rendered(first: int, last: int) -> Rendered:
    made = list(runs(last, None, after=first - 1))
    edge = reduce(lambda edge, run: run.added(edge), made, Edge.empty())
    leaves, csv, ndjson = (
        b"".join(parts) for parts in zip(*((run.leaves, run.csv, run.ndjson) for run in made), strict=True)
    )
    return Rendered(first, edge.root(), sha256(leaves).digest(), csv, ndjson)


def _keep(rendered: Rendered) -> None:
    place = file_of(rendered.first)
    handle, aside = tempfile.mkstemp(dir=place.parent, prefix=f".{place.name}-")
    try:
        with os.fdopen(handle, "wb") as file:
            file.write(rendered.to_bytes())
            file.flush()
            os.fsync(file.fileno())
        with suppress(FileNotFoundError):  # another sweep was there first, and took it for a leftover
            Path(aside).replace(place)
    finally:
        Path(aside).unlink(missing_ok=True)
    for left in place.parent.glob(f".{place.name}-*"):  # of a killed sweep, or set aside: a right one is there now
        left.unlink(missing_ok=True)
