"""An export of the history is built: its files are written aside and synced, then stand in their folder at once.

Killed at any moment, the work is done again from the start, and comes to the same bytes: nothing in the files depends
on when or by whom they were made, only on the scope, the head, and the words that were taken out of the record.
"""

import datetime as dt
import os
import shutil
import tempfile
from collections.abc import Callable
from pathlib import Path
from typing import Any

from pmcore.engines.records import SYSTEM
from pmcore.models import ExportedSite, ExportStatement, HistoryExport, Job, SignedHead
from pmcore.models.rows import Row
from pmcore.queries.entry_sites import EntrySites
from pmcore.queries.exported import Days, runs
from pmcore.queries.exported_run import Chosen
from pmcore.queries.exports import KIND, ExportScope, exports_folder, key_of, newest_redaction
from pmcore.queries.head import RecordDamaged
from pmcore.queries.raw import EntryRow
from pmcore.services.append import append
from pmcore.services.export_files import ExportFiles, write_pack
from pmcore.services.requests import Request
from pmcore.services.signing import sign_head, signer

Say = Callable[[str], None]
_SAID_EVERY = 20_000  # entries


class ExportOutdated(RuntimeError):
    """Words were taken out of the record since the export was asked for; it might still hold them."""


def build_export(*, arguments: dict[str, Any], at: dt.datetime, say: Say) -> dict[str, Any]:
    """What the job answers: how many entries there are, and size and hash of each file.

    Raises RecordDamaged, HistoryRewritten, NoSigningKey, ExportOutdated.
    """
    scope, key = ExportScope.of(arguments), key_of(arguments)
    job = Job.objects.get(kind=KIND, unique_key=key)
    signed = sign_head(size=scope.known, at=at)
    exports_folder().mkdir(mode=0o700, parents=True, exist_ok=True)
    _clear(f".{key}-*")
    aside = Path(tempfile.mkdtemp(dir=exports_folder(), prefix=f".{key}-"))  # mode 0700
    try:
        answer = _write(aside, scope, signed, say)
        if newest_redaction() != arguments["redacted"]:
            raise ExportOutdated("Words were taken out of the record since it was asked for. Ask again.")
        say("Written; it is being put in its place")  # a worker that lost the job stops here
        _put(aside, exports_folder() / key)
    finally:
        shutil.rmtree(aside, ignore_errors=True)
    _append(job, scope, answer, at)
    return answer


def _write(folder: Path, scope: ExportScope, signed: SignedHead, say: Say) -> dict[str, Any]:
    days = _days(scope) if scope.sites is None else None
    with ExportFiles(folder) as files:
        for run in runs(scope.known, _chosen(scope), days, _saying(scope.known, say)):
            files.write(run)
    if files.root != bytes(signed.root):
        raise RecordDamaged("The leaves of the entries do not give the root of the head.")
    say(f"{scope.known:,} entries read; the pack is being made")
    return write_pack(folder, files, scope, signed, signer())


def _saying(size: int, say: Say) -> Callable[[int], None]:
    said = 0

    def now_and_then(read: int) -> None:
        nonlocal said
        if read - said >= _SAID_EVERY:
            said = read
            say(f"{read:,} of {size:,} entries read")

    return now_and_then


def _chosen(scope: ExportScope) -> Chosen | None:
    """By sites, and then by days as well; None: no site is asked for."""
    if scope.sites is None:
        return None
    first, last = _days(scope) or ("", "")
    sites, wanted = EntrySites(), set(scope.sites)

    def at_the_sites(entry: EntryRow) -> bool:
        found = sites.of(entry)  # every entry, in order
        in_the_period = not first or first <= str(entry.at)[:10] <= last
        return in_the_period and (not found or bool(found & wanted))

    return at_the_sites


def _days(scope: ExportScope) -> Days | None:
    if scope.begins_on is None and scope.ends_on is None:
        return None
    return str(scope.begins_on or dt.date.min), str(scope.ends_on or dt.date.max)


def _put(aside: Path, place: Path) -> None:
    shutil.rmtree(place, ignore_errors=True)  # of an attempt that ended before it said so
    aside.replace(place)
    handle = os.open(place.parent, os.O_RDONLY)
    try:
        os.fsync(handle)
    finally:
        os.close(handle)


def _clear(pattern: str) -> None:
    for left in exports_folder().glob(pattern):
        shutil.rmtree(left, ignore_errors=True)


def _append(job: Job, scope: ExportScope, answer: dict[str, Any], at: dt.datetime) -> None:
    """That it was made, once for each time it was asked for and begun."""
    export = Row(HistoryExport)
    statement = Row(
        ExportStatement, export=export, size=scope.known, root=answer["root"], begins_on=scope.begins_on,
        ends_on=scope.ends_on, entries=answer["entries"], asked_by=job.asked_by,
        **{f"{name}_sha256": answer["files"][name]["sha256"] for name in ("ndjson", "csv", "pack")},
    )  # fmt: skip
    sites = [Row(ExportedSite, statement=statement, site=site) for site in scope.sites or ()]
    request = Request.of(f"export {job.pk} of {job.asked_at.isoformat()}", job.unique_key)
    append("history_exported", export, [export, statement, *sites], actor=SYSTEM, at=at, request=request)
