"""What exports show is rendered as the history grows, so that an export is there soon after it was asked for."""

import os
import tempfile
from contextlib import suppress
from functools import reduce
from hashlib import sha256
from pathlib import Path

import structlog

from pmcore.engines.merkle import Edge
from pmcore.queries.exported import runs
from pmcore.queries.head import RecordDamaged, head
from pmcore.queries.rendered import Rendered, file_of, missing, rendered_folder

log = structlog.get_logger(__name__)

AT_ONCE = 50
"""Stretches: some seconds of work."""


def keep_rendered(*, most: int = AT_ONCE) -> int:
    """Render the whole stretches that no file is there for, at most so many; how many were. What is damaged stays
    without a file, and whoever exports it is told. Killed at any moment, a file is there whole or not at all."""
    rendered = 0
    for first, last in missing(head().size)[:most]:
        try:
            _keep(first, last)
            rendered += 1
        except RecordDamaged as error:
            log.warning("entries could not be rendered for exports", first=first, error=str(error))
    return rendered


def _keep(first: int, last: int) -> None:
    made = list(runs(last, None, after=first - 1))
    edge = reduce(lambda edge, run: run.added(edge), made, Edge.empty())
    leaves, csv, ndjson = (
        b"".join(parts) for parts in zip(*((run.leaves, run.csv, run.ndjson) for run in made), strict=True)
    )
    rendered = Rendered(first, edge.root(), sha256(leaves).digest(), csv, ndjson)
    folder = rendered_folder()
    folder.mkdir(mode=0o700, parents=True, exist_ok=True)
    place = file_of(first)
    handle, aside = tempfile.mkstemp(dir=folder, prefix=f".{place.name}-")
    try:
        with os.fdopen(handle, "wb") as file:
            file.write(rendered.to_bytes())
        with suppress(FileNotFoundError):  # another sweep was there first, and took it for a leftover
            Path(aside).replace(place)
    finally:
        for left in folder.glob(f".{place.name}-*"):  # ours, and what was killed
            left.unlink(missing_ok=True)
