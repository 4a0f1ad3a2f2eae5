"""Asking for exports of the history, and giving them up. They are built in `export_history`."""

import datetime as dt
import shutil
from collections.abc import Collection

from pmcore.engines.records import Actor
from pmcore.engines.vocabulary import JobState, TokenDeed
from pmcore.models import Job, Site
from pmcore.queries.asked import (
    AskedRefused,
    BadPeriod,
    KnownBeyond,
    OutsideYourSites,
    check_days,
    check_known,
    sites_allowed,
)
from pmcore.queries.exports import CANCELLED, KIND, ExportScope, exports_folder, key_of, newest_redaction
from pmcore.queries.head import head, root_at
from pmcore.services import jobs
from pmcore.services.permissions import check_role
from pmcore.services.token_use import note_token_use

__all__ = ["KnownBeyond", "NothingToExport", "ask_export", "cancel_export"]


class NothingToExport(AskedRefused):
    """The history had no entries at that size."""


def ask_export(
    *,
    begins_on: dt.date | None = None,
    ends_on: dt.date | None = None,
    sites: Collection[int] | None = None,
    known: int | None = None,
    actor: Actor,
    at: dt.datetime,
) -> int:
    """The id of the export: one that was asked for before, or a new one that a worker will build. One that failed, was
    cancelled or whose files are gone is begun anew.

    Raises NotAllowed, OutsideYourSites, OutsideYourPeriod, BadPeriod, KnownBeyond, NothingToExport, RecordDamaged.
    """
    check_role(actor, "export the history")
    size = head().size if known is None else known
    check_known(size)
    if not size:
        raise NothingToExport("The history has no entries yet." if known is None else "Of 0 entries nothing is left.")
    first, last = begins_on or actor.begins_on, ends_on or actor.ends_on
    if first is not None and last is not None and first > last:
        raise BadPeriod(f"The period begins on {first}, after its end on {last}.")
    check_days(actor, first, last)
    scope = ExportScope(size, first, last, _sites(actor, sites, size))
    arguments = {**scope.told(), "redacted": newest_redaction(), "root": root_at(size).hex()}
    key = key_of(arguments)
    job = jobs.ask(kind=KIND, unique_key=key, arguments=arguments, actor=actor, at=at)
    row = Job.objects.get(pk=job)
    lost = row.state == JobState.DONE and not (exports_folder() / key).is_dir()
    if lost or row.state == JobState.PARKED:
        jobs.begin_anew(job=job, at=at)
    note_token_use(actor=actor, deed=TokenDeed.EXPORT, at=at, of=job)
    return job


def cancel_export(*, export: int, actor: Actor, at: dt.datetime) -> None:
    """Nobody wants it any more: the work ends, and files that were made are taken away. Asked for again, the same
    ones are made. Raises NotAllowed."""
    check_role(actor, "cancel an export")
    job = Job.objects.get(pk=export, kind=KIND)
    jobs.give_up(job=export, at=at, error=CANCELLED)
    shutil.rmtree(exports_folder() / job.unique_key, ignore_errors=True)


def drop_outdated() -> None:
    """Take the files away that were made before words were taken out of the record, and may hold them."""
    redacted = newest_redaction()
    for job in Job.objects.filter(kind=KIND, state=JobState.DONE):
        if job.arguments["redacted"] != redacted:
            shutil.rmtree(exports_folder() / job.unique_key, ignore_errors=True)


def _sites(actor: Actor, wanted: Collection[int] | None, size: int) -> tuple[int, ...] | None:
    """Those that the export is narrowed to; None: all that there were."""
    there = set(Site.objects.known(size).values_list("pk", flat=True))
    chosen = sites_allowed(actor, None if wanted is None else frozenset(wanted))
    if chosen is None or (wanted is None and there <= chosen):
        return None
    if unknown := sorted(chosen - there if wanted is not None else ()):
        raise OutsideYourSites(f"There was no site {', '.join(map(str, unknown))} when the history had {size} entries.")
    return tuple(sorted(chosen & there))
