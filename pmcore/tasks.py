"""What the queue runs. Each task reads the clock and makes one domain call; the work itself is elsewhere."""

from collections.abc import Callable
from typing import Any

import structlog
from celery import shared_task

from pmcore import clock
from pmcore.alert_mail import compose
from pmcore.engines.site_days import day_to_sweep
from pmcore.queries.head import RecordDamaged
from pmcore.queries.sites import sites_on
from pmcore.queries.verification import verify
from pmcore.services import alerts, jobs, mails
from pmcore.services.export_history import ExportOutdated, build_export
from pmcore.services.exports import drop_outdated
from pmcore.services.generate_due import generate_due
from pmcore.services.keep_rendered import keep_rendered
from pmcore.services.keep_standings import Overtaken, keep_standings
from pmcore.services.signing import HistoryRewritten, sign_growth
from pmcore.services.token_use import append_token_use

log = structlog.get_logger(__name__)

LEASE_SECONDS = 120
MAIL_LEASE_SECONDS = 120

# What another attempt would only meet again.
_HOPELESS = (RecordDamaged, HistoryRewritten, ExportOutdated)

Say = Callable[[str], None]
Handler = Callable[[dict[str, Any], Say], Any]


class UnknownJob(LookupError):
    """A job of a kind that this version has no handler for."""


@shared_task
def sweep_jobs() -> None:
    jobs.wake_unfinished(at=clock.now())


@shared_task
def sweep_due() -> None:
    """Generate for every site whose day is another than the one it was last swept for. One site's failure stops no
    other."""
    at = clock.now()
    for site in sites_on(at.date()):
        as_of = day_to_sweep(at, site.time_zone, site.swept_on)
        if as_of is None:
            continue
        try:
            generate_due(site=site.site, as_of=as_of, at=at)
        except Exception:
            log.exception("a site could not be swept", site=site.label, as_of=as_of.isoformat())


@shared_task
def sweep_standings() -> None:
    """Bring what figures are counted from up to date."""
    try:
        keep_standings()
    except Overtaken:
        log.info("a newer run keeps the standings")


@shared_task
def sweep_heads() -> None:
    """Sign a head where the history grew."""
    sign_growth(at=clock.now())


@shared_task
def sweep_exports() -> None:
    """Take away what may hold words that were redacted since."""
    drop_outdated()


@shared_task
def sweep_rendered() -> None:
    """Render for exports what the history grew by."""
    keep_rendered()


@shared_task
def sweep_alerts() -> None:
    """Look at everything of each site whose day is another than the last one. One site's failure stops no other."""
    at = clock.now()
    for site in sites_on(at.date()):
        try:
            alerts.sweep_site(site=site, at=at)
        except Exception:
            log.exception("what a site must be told could not be seen", site=site.label)


@shared_task
def follow_alerts() -> None:
    """Look at what was written."""
    alerts.follow_alerts(at=clock.now())


@shared_task
def sweep_mails() -> None:
    mails.wake_due(at=clock.now())


@shared_task
def send_mail(mail: int) -> None:
    """Take the letter and send it; whatever goes wrong is kept on its row."""
    mails.send(mail=mail, at=clock.now(), seconds=MAIL_LEASE_SECONDS, compose=compose)


@shared_task
def run_job(job: int) -> None:
    """Take the job and do it; whatever goes wrong is kept on its row."""
    lease = jobs.take(job=job, at=clock.now(), seconds=LEASE_SECONDS)
    if lease is None:
        return
    try:
        _do(lease)
    except jobs.LeaseLost as lost:
        log.warning("a job was lost", job=job, kind=lease.kind, attempt=lease.attempt, error=str(lost))


def _do(lease: jobs.Lease) -> None:
    def say(progress: str) -> None:
        jobs.report_progress(lease=lease, at=clock.now(), seconds=LEASE_SECONDS, progress=progress)

    try:
        answer = _handler(lease.kind)(lease.arguments, say)
        jobs.finish(lease=lease, at=clock.now(), answer=answer)
    except jobs.LeaseLost:
        raise
    except Exception as error:
        log.exception("a job failed", job=lease.job, kind=lease.kind, attempt=lease.attempt)
        again = not isinstance(error, _HOPELESS)
        jobs.fail(lease=lease, at=clock.now(), error=f"{type(error).__name__}: {error}", again=again)


def _handler(kind: str) -> Handler:
    try:
        return HANDLERS[kind]
    except KeyError:
        raise UnknownJob(f"No worker does jobs of the kind {kind!r}, only {', '.join(sorted(HANDLERS))}.") from None


def _verify_record(arguments: dict[str, Any], say: Say) -> dict[str, Any]:
    def files(done: int, count: int) -> None:
        if done == count or done % 20 == 1:  # each may take a while, and the lease must hold
            say(f"{done:,} of {count:,} attached files")

    report = verify(lambda done, size: say(f"{done:,} of {size:,} entries"), files)
    return {
        "size": report.size,
        "root": report.root,
        "sound": report.sound,
        "faults": [str(fault) for fault in report.faults[:20]],
    }


def _export_history(arguments: dict[str, Any], say: Say) -> dict[str, Any]:
    return build_export(arguments=arguments, at=clock.now(), say=say)


def _note_token_use(arguments: dict[str, Any], say: Say) -> dict[str, Any]:
    return append_token_use(arguments=arguments, at=clock.now())


HANDLERS: dict[str, Handler] = {
    "verify_record": _verify_record,
    "export_history": _export_history,
    "note_token_use": _note_token_use,
}
