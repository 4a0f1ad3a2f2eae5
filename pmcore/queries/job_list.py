"""Long work as an administrator sees it: what waits, runs or was parked, and what ended last."""

import datetime as dt
from dataclasses import dataclass
from typing import Any

from django.db.models import Case, Count, Q, QuerySet, Value, When

from pmcore.engines.vocabulary import JobState
from pmcore.models import Job
from pmcore.queries.assigned import names_of
from pmcore.queries.exports import CANCELLED, KIND, ExportScope, newest_redaction

OPEN_ROWS = 50
ENDED_ROWS = 10
_LONGEST_ERROR = 500
_UNFINISHED = Q(state__in=[JobState.WAITING, JobState.RUNNING])


@dataclass(frozen=True, slots=True)
class JobTold:
    """`name`: its unique key, `scope`: of an export, instead of that. `asked_by` None: the system. `lease_over`: its
    worker was to be heard of by `leased_until_at`, and was not. `can_retry`: parked, and somebody may still want it."""

    job: int
    kind: str
    name: str
    scope: ExportScope | None
    state: JobState
    asked_at: dt.datetime
    asked_by: str | None
    attempts: int
    progress: str
    error: str
    leased_until_at: dt.datetime | None
    lease_over: bool
    ended_at: dt.datetime | None
    can_retry: bool
    cancelled: bool


@dataclass(frozen=True, slots=True)
class JobList:
    """`parked`: that can be tried again; those that nobody wants any more are counted nowhere. `open`: parked first,
    then the oldest, at most 50; `ended`: the newest, at most 10."""

    waiting: int
    running: int
    parked: int
    open: tuple[JobTold, ...]
    ended: tuple[JobTold, ...]


def can_retry(redacted: int) -> Q:
    """A parked job that somebody may still want. An export that was cancelled nobody wants; one that was asked for
    before words were taken out of the record (by the entry `redacted`) can never be made."""
    wanted_export = Q(arguments__redacted=redacted) & ~Q(error=CANCELLED)
    return Q(state=JobState.PARKED) & (~Q(kind=KIND) | wanted_export)


def job_list(*, at: dt.datetime, known: int) -> JobList:
    """Five statements; names as of a history of `known` entries."""
    retry = can_retry(newest_redaction())
    marked = Job.objects.annotate(can_retry=Case(When(retry, then=Value(True)), default=Value(False)))
    parked_first = Case(When(state=JobState.PARKED, then=Value(0)), default=Value(1))
    open_ones = list(
        marked.filter(_UNFINISHED | Q(can_retry=True)).order_by(parked_first, "asked_at", "pk")[:OPEN_ROWS]
    )
    ended = list(_ended(marked)[:ENDED_ROWS])
    names = names_of({job.asked_by for job in (*open_ones, *ended) if job.asked_by is not None}, known)
    counted = Job.objects.aggregate(
        waiting=Count("pk", filter=Q(state=JobState.WAITING)),
        running=Count("pk", filter=Q(state=JobState.RUNNING)),
        parked=Count("pk", filter=retry),
    )
    return JobList(
        **counted,
        open=tuple(_told(job, at, names) for job in open_ones),
        ended=tuple(_told(job, at, names) for job in ended),
    )


def _ended(marked: "QuerySet[Any]") -> "QuerySet[Any]":
    over = marked.filter(can_retry=False, state__in=[JobState.DONE, JobState.PARKED], ended_at__isnull=False)
    return over.order_by("-ended_at", "-pk")


def _told(job: Any, at: dt.datetime, names: dict[int, str]) -> JobTold:
    export = job.kind == KIND
    return JobTold(
        job=job.pk,
        kind=job.kind,
        name=job.unique_key,
        scope=ExportScope.of(job.arguments) if export else None,
        state=JobState(job.state),
        asked_at=job.asked_at,
        asked_by=None if job.asked_by is None else names.get(job.asked_by, f"person {job.asked_by}"),
        attempts=job.attempts,
        progress=job.progress,
        error=job.error[:_LONGEST_ERROR],
        leased_until_at=job.leased_until_at,
        lease_over=job.state == JobState.RUNNING and job.leased_until_at is not None and job.leased_until_at <= at,
        ended_at=job.ended_at,
        can_retry=job.can_retry,
        cancelled=export and job.state == JobState.PARKED and job.error == CANCELLED,
    )
