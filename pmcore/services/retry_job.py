"""A parked job is tried again, because somebody who saw its reason says so."""

import datetime as dt

import structlog

from pmcore.engines.records import Actor
from pmcore.engines.vocabulary import JobState
from pmcore.models import Job
from pmcore.queries.exports import CANCELLED, newest_redaction
from pmcore.queries.job_list import can_retry
from pmcore.services.jobs import RUN
from pmcore.services.permissions import check_role
from pmcore.wake import wake

log = structlog.get_logger(__name__)


class NoSuchJob(LookupError):
    """There is no job with this id."""


class RetryRefused(RuntimeError):
    """The job is not tried again."""


class NoLongerParked(RetryRefused):
    """It is not parked, or was parked again since somebody looked."""


class NotWanted(RetryRefused):
    """Nobody wants it any more, or it can never be done."""


def retry_job(*, job: int, parked_at: dt.datetime, actor: Actor, at: dt.datetime) -> None:
    """The job that was parked at that moment waits again, with all its attempts before it and its last reason still on
    it. Of two who ask, one does it.

    When and by whom it was asked for stays as it was, and so does the request under which its work writes its entry:
    what it had done before it was parked is not done twice.

    Raises NotAllowed, NoSuchJob, NoLongerParked, NotWanted.
    """
    check_role(actor, "retry a job")
    parked = Job.objects.filter(can_retry(newest_redaction()), pk=job, ended_at=parked_at)
    if not parked.update(state=JobState.WAITING, attempts=0, ended_at=None, progress=""):
        raise _refusal(job, parked_at)
    log.info("a parked job is tried again", job=job, person=actor.person)
    wake(RUN, job)


def _refusal(job: int, parked_at: dt.datetime) -> Exception:
    found = Job.objects.filter(pk=job).first()
    if found is None:
        return NoSuchJob(f"There is no job {job}.")
    if found.state != JobState.PARKED or found.ended_at != parked_at:
        return NoLongerParked("Somebody tried it again already, or it ended otherwise. Look at it as it is now.")
    if found.error == CANCELLED:
        return NotWanted("This export was cancelled. Whoever wants it again asks for it on the page History.")
    return NotWanted(
        "Words were taken out of the record since this export was asked for; it is not made with them. Whoever wants "
        "it asks again on the page History."
    )
