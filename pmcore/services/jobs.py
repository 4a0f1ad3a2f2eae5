"""Long work as rows: asked for once, taken for a lease, renewed, finished; what expires is taken again.

Every change is a compare-and-set on the lease, so that of two workers one has the job, and one that lost its lease
learns it. Jobs are no facts and do not take the lock of the record.
"""

import datetime as dt
import json
import uuid
from dataclasses import dataclass
from typing import Any

from django.db.models import F, Field, Q

from pmcore.engines.records import Actor
from pmcore.engines.vocabulary import JobState
from pmcore.models import Job
from pmcore.wake import wake

ATTEMPTS = 5
RUN = "pmcore.tasks.run_job"


class BadJob(ValueError):
    """A name that a job's row cannot hold."""


class AskedOtherwise(ValueError):
    """The same kind and key were asked for before, with other arguments."""


class LeaseLost(RuntimeError):
    """The lease expired and somebody else has the job, or it ended."""


@dataclass(frozen=True, slots=True)
class Lease:
    """A worker's right to a job until it expires."""

    job: int
    kind: str
    arguments: dict[str, Any]
    key: uuid.UUID
    attempt: int


def ask(*, kind: str, unique_key: str, arguments: dict[str, Any], actor: Actor, at: dt.datetime) -> int:
    """The id of the job for this kind and key: a new one, or the one that was asked for before with these arguments.

    Raises BadJob, AskedOtherwise.
    """
    _check(Job._meta.get_field("kind"), kind)
    _check(Job._meta.get_field("unique_key"), unique_key)
    job, new = Job.objects.get_or_create(
        kind=kind,
        unique_key=unique_key,
        defaults={"arguments": arguments, "asked_at": at, "asked_by": actor.person},
    )
    if new:
        wake(RUN, job.pk)
    elif not _same(job.arguments, json.loads(json.dumps(arguments))):
        raise AskedOtherwise(f"The job {kind} {unique_key} was asked for before, with other arguments.")
    return job.pk


def take(*, job: int, at: dt.datetime, seconds: float) -> Lease | None:
    """A lease on a job that nobody holds, or none. A job that was tried too often is parked instead."""
    free = Job.objects.filter(_free(at), pk=job)
    parked = free.filter(attempts__gte=ATTEMPTS).update(
        state=JobState.PARKED,
        lease=None,
        leased_until_at=None,
        ended_at=at,
        error=f"Given up after {ATTEMPTS} attempts without an end.",
    )
    key = uuid.uuid4()
    until = at + dt.timedelta(seconds=seconds)
    if parked or not free.update(state=JobState.RUNNING, lease=key, leased_until_at=until, attempts=F("attempts") + 1):
        return None
    row = Job.objects.get(pk=job)
    return Lease(row.pk, row.kind, row.arguments, key, row.attempts)


def renew(*, lease: Lease, at: dt.datetime, seconds: float) -> None:
    """Hold the job for longer. Raises LeaseLost."""
    _change(lease, leased_until_at=at + dt.timedelta(seconds=seconds))


def report_progress(*, lease: Lease, at: dt.datetime, seconds: float, progress: str) -> None:
    """Say how far the job is, in at most 200 characters, and hold it for longer. Raises LeaseLost."""
    _change(lease, leased_until_at=at + dt.timedelta(seconds=seconds), progress=_storable(progress)[:200])


def finish(*, lease: Lease, at: dt.datetime, answer: Any) -> None:
    """The work is done. Raises LeaseLost."""
    _change(lease, state=JobState.DONE, lease=None, leased_until_at=None, ended_at=at, answer=answer)


def fail(*, lease: Lease, at: dt.datetime, error: str, again: bool = True) -> None:
    """The work failed: it waits to be tried `again`, or is parked, as after the last attempt. Raises LeaseLost."""
    if lease.attempt >= ATTEMPTS or not again:
        _change(lease, state=JobState.PARKED, lease=None, leased_until_at=None, ended_at=at, error=_storable(error))
    else:
        _change(lease, state=JobState.WAITING, lease=None, leased_until_at=None, error=_storable(error))


def give_up(*, job: int, at: dt.datetime, error: str) -> None:
    """Nobody wants the job any more, whether it is done or not: a worker that has it learns that its lease is lost."""
    Job.objects.filter(pk=job).update(
        state=JobState.PARKED, lease=None, leased_until_at=None, ended_at=at, error=_storable(error)
    )


def begin_anew(*, job: int, at: dt.datetime) -> bool:
    """A job that ended, well or not, waits again as though it had just been asked for; whether there was such a one."""
    ended = Job.objects.filter(pk=job, state__in=[JobState.DONE, JobState.PARKED])
    begun = ended.update(
        state=JobState.WAITING, asked_at=at, attempts=0, ended_at=None, answer=None, error="", progress=""
    )
    if begun:
        wake(RUN, job)
    return bool(begun)


def unfinished(*, at: dt.datetime) -> list[int]:
    """Jobs that nobody holds, oldest first: what the sweep wakes."""
    return list(Job.objects.filter(_free(at)).order_by("pk").values_list("pk", flat=True))


def wake_unfinished(*, at: dt.datetime) -> int:
    """Wake a worker for each job that nobody holds; how many."""
    jobs = unfinished(at=at)
    for job in jobs:
        wake(RUN, job)
    return len(jobs)


def _check(field: "Field[Any, Any]", value: str) -> None:
    """SQLite would keep what is too long, PostgreSQL refuse it: both refuse it here."""
    longest = field.max_length or 0
    if not (0 < len(value) <= longest and value.isprintable()):
        raise BadJob(f"A job's {field.name} has 1 to {longest} printable characters, unlike {value[:60]!r}.")


def _same(kept: Any, asked: Any) -> bool:
    """Whether two JSON values are one. Python takes true for 1; the databases write 1.0 in their own ways."""
    match kept, asked:
        case dict(), dict():
            return kept.keys() == asked.keys() and all(_same(value, asked[name]) for name, value in kept.items())
        case list(), list():
            return len(kept) == len(asked) and all(map(_same, kept, asked))
        case _:
            return isinstance(kept, bool) == isinstance(asked, bool) and bool(kept == asked)


def _storable(text: str) -> str:
    """Without what a database refuses, so that no reason is lost for a strange character in it."""
    return text.replace("\x00", "?").encode(errors="replace").decode()


def _free(at: dt.datetime) -> Q:
    return Q(state=JobState.WAITING) | Q(state=JobState.RUNNING, leased_until_at__lte=at)


def _change(held: Lease, /, **values: Any) -> None:
    if not Job.objects.filter(pk=held.job, lease=held.key, state=JobState.RUNNING).update(**values):
        raise LeaseLost(f"Job {held.job} is no longer held by this worker.")
