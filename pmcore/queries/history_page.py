"""What the page about the history itself tells: its size, whether it was verified, its signed heads, its exports."""

import datetime as dt
from dataclasses import dataclass

from pmcore.engines.records import Actor
from pmcore.engines.vocabulary import JobState
from pmcore.models import Job
from pmcore.queries.exports import ExportTold, exports_for
from pmcore.queries.head import head
from pmcore.queries.signed_heads import HeadTold, newest_heads

VERIFICATION = "verify_record"
_HEADS = 10


@dataclass(frozen=True, slots=True)
class Verified:
    """A verification that came to its end: of how many entries, when, and the first faults that were found."""

    size: int
    ended_at: dt.datetime
    sound: bool
    faults: tuple[str, ...]


@dataclass(frozen=True, slots=True)
class HistoryPage:
    """`verifying`: how far a verification is that has not ended; None: there is none."""

    size: int
    verified: Verified | None
    verifying: str | None
    heads: tuple[HeadTold, ...]
    exports: tuple[ExportTold, ...]


def history_page(actor: Actor) -> HistoryPage:
    """Seven statements."""
    return HistoryPage(
        size=head().size,
        verified=last_verified(),
        verifying=verifying(),
        heads=tuple(newest_heads(_HEADS)),
        exports=tuple(exports_for(actor)),
    )


def last_verified() -> Verified | None:
    ended = Job.objects.filter(kind=VERIFICATION, state=JobState.DONE, ended_at__isnull=False)
    done = ended.order_by("-ended_at").first()
    return None if done is None else _verified(done)


def verifying() -> str | None:
    """How far a verification is that has not ended; None: there is none."""
    asked = Job.objects.filter(kind=VERIFICATION, state__in=[JobState.WAITING, JobState.RUNNING])
    at_work = asked.order_by("-pk").first()
    return None if at_work is None else at_work.progress or "waiting for a worker"


def _verified(job: Job) -> Verified:
    answer = job.answer or {}
    assert job.ended_at is not None
    return Verified(answer["size"], job.ended_at, answer["sound"], tuple(answer["faults"]))
