"""A job is held by one worker at a time, for a lease; it is never lost and never done by two."""

import datetime as dt
from typing import Any

import pytest

from pmcore.engines.records import SYSTEM
from pmcore.models import Job
from pmcore.services import jobs
from pmcore.services.jobs import ATTEMPTS, AskedOtherwise, BadJob, Lease, LeaseLost
from tests.history import AT
from tests.services.test_append_concurrently import at_once

pytestmark = pytest.mark.django_db

LATER = AT + dt.timedelta(seconds=61)


def a_job(key: str = "first") -> int:
    return jobs.ask(kind="verify_record", unique_key=key, arguments={"from": 1}, actor=SYSTEM, at=AT)


def taken(job: int, at: dt.datetime = AT) -> Lease:
    lease = jobs.take(job=job, at=at, seconds=60)
    assert lease is not None
    return lease


def test_the_same_key_asks_for_one_job() -> None:
    assert a_job() == a_job()
    assert Job.objects.count() == 1


ARGUMENTS = {"sites": [1, 2], "from": 1, "share": 1e16, "dry": True, "note": None}


def asked(arguments: dict[str, Any]) -> int:
    return jobs.ask(kind="export", unique_key="march", arguments=arguments, actor=SYSTEM, at=AT)


@pytest.mark.parametrize("again", [{}, {"sites": (1, 2)}, {"share": 10**16}])
def test_the_same_arguments_in_another_form_ask_for_the_same_job(again: dict[str, Any]) -> None:
    assert asked(ARGUMENTS) == asked(dict(sorted({**ARGUMENTS, **again}.items())))


@pytest.mark.parametrize(
    "other",
    [{"from": 2}, {"sites": [2, 1]}, {"sites": [1]}, {"dry": 1}, {"dry": False}, {"note": ""}, {"to": 3}, {"share": 1}],
)
def test_the_same_key_with_other_arguments_is_refused_by_name(other: dict[str, Any]) -> None:
    job = asked(ARGUMENTS)
    with pytest.raises(AskedOtherwise, match="The job export march was asked for before, with other arguments"):
        asked({**ARGUMENTS, **other})
    assert Job.objects.get(pk=job).arguments == ARGUMENTS


def test_a_job_that_is_done_is_not_begun_again_by_asking() -> None:
    job = a_job()
    jobs.finish(lease=taken(job), at=AT, answer={"size": 3})
    assert a_job() == job
    assert jobs.unfinished(at=LATER) == []


@pytest.mark.parametrize(
    ("kind", "unique_key", "named"),
    [
        ("k" * 41, "1", "kind"),
        ("", "1", "kind"),
        ("verify_record", "1" * 121, "unique_key"),
        ("verify_record", "", "unique_key"),
        ("verify_record", "1\x00", "unique_key"),
        ("verify_record", "1\udcff", "unique_key"),
    ],
)
def test_a_name_that_a_row_cannot_hold_is_refused(kind: str, unique_key: str, named: str) -> None:
    with pytest.raises(BadJob, match=f"A job's {named} has 1 to"):
        jobs.ask(kind=kind, unique_key=unique_key, arguments={}, actor=SYSTEM, at=AT)
    assert not Job.objects.exists()


def test_the_longest_name_is_kept_whole() -> None:
    job = jobs.ask(kind="k" * 40, unique_key="1" * 120, arguments={}, actor=SYSTEM, at=AT)
    row = Job.objects.get(pk=job)
    assert (row.kind, row.unique_key) == ("k" * 40, "1" * 120)


def test_a_taken_job_is_not_given_to_another() -> None:
    job = a_job()
    assert taken(job).arguments == {"from": 1}
    assert jobs.take(job=job, at=AT, seconds=60) is None


def test_a_job_that_does_not_exist_is_not_taken() -> None:
    assert jobs.take(job=404, at=AT, seconds=60) is None


def test_an_expired_lease_is_taken_again_and_its_holder_learns_it() -> None:
    job = a_job()
    slow = taken(job)
    quick = taken(job, LATER)
    assert quick.attempt == 2
    for late_word in (
        lambda: jobs.renew(lease=slow, at=LATER, seconds=60),
        lambda: jobs.report_progress(lease=slow, at=LATER, seconds=60, progress="slow"),
        lambda: jobs.finish(lease=slow, at=LATER, answer=None),
        lambda: jobs.fail(lease=slow, at=LATER, error="slow"),
    ):
        with pytest.raises(LeaseLost):
            late_word()
    jobs.finish(lease=quick, at=LATER, answer={"size": 3})
    done = Job.objects.get(pk=job)
    assert (done.state, done.answer, done.ended_at, done.progress) == ("done", {"size": 3}, LATER, "")


def test_who_reports_progress_holds_the_job_for_longer() -> None:
    job = a_job()
    at = AT + dt.timedelta(seconds=50)
    jobs.report_progress(lease=taken(job), at=at, seconds=60, progress="2,000 of 4,000 entries")
    assert jobs.take(job=job, at=LATER, seconds=60) is None
    assert Job.objects.get(pk=job).progress == "2,000 of 4,000 entries"


def test_a_renewed_lease_holds_longer_and_keeps_what_was_said() -> None:
    job = a_job()
    lease = taken(job)
    jobs.report_progress(lease=lease, at=AT, seconds=60, progress="half")
    jobs.renew(lease=lease, at=AT + dt.timedelta(seconds=50), seconds=60)
    assert jobs.take(job=job, at=LATER, seconds=60) is None
    assert Job.objects.get(pk=job).progress == "half"


def test_a_lease_ends_at_its_last_moment() -> None:
    job = a_job()
    taken(job)
    assert jobs.take(job=job, at=AT + dt.timedelta(seconds=59.999), seconds=60) is None
    assert jobs.take(job=job, at=AT + dt.timedelta(seconds=60), seconds=60) is not None


def test_a_slow_worker_whose_job_nobody_took_may_finish() -> None:
    job = a_job()
    jobs.finish(lease=taken(job), at=LATER, answer=None)
    assert Job.objects.get(pk=job).state == "done"


def test_a_finished_job_is_never_taken_again() -> None:
    job = a_job()
    lease = taken(job)
    jobs.finish(lease=lease, at=AT, answer=None)
    assert jobs.take(job=job, at=LATER, seconds=60) is None
    with pytest.raises(LeaseLost):
        jobs.finish(lease=lease, at=AT, answer=None)


def test_a_failing_job_is_tried_again_and_at_last_parked_with_its_reason() -> None:
    job = a_job()
    for _ in range(ATTEMPTS):
        jobs.fail(lease=taken(job), at=AT, error="ValueError: no such site")
    parked = Job.objects.get(pk=job)
    assert (parked.state, parked.error, parked.attempts) == ("parked", "ValueError: no such site", ATTEMPTS)
    assert jobs.unfinished(at=LATER) == []


@pytest.mark.parametrize("said", ["half\x00way", "half\udcffway"])
def test_what_no_database_can_hold_hides_neither_progress_nor_reason(said: str) -> None:
    job = a_job()
    lease = taken(job)
    jobs.report_progress(lease=lease, at=AT, seconds=60, progress=said)
    jobs.fail(lease=lease, at=AT, error=said)
    row = Job.objects.get(pk=job)
    assert (row.state, row.progress, row.error) == ("waiting", "half?way", "half?way")


def test_a_job_that_kills_its_workers_is_parked_too() -> None:
    job = a_job()
    for turn in range(ATTEMPTS):
        taken(job, AT + turn * dt.timedelta(seconds=61))
    assert jobs.take(job=job, at=AT + dt.timedelta(hours=1), seconds=60) is None
    parked = Job.objects.get(pk=job)
    assert (parked.state, parked.lease, parked.leased_until_at) == ("parked", None, None)
    assert parked.error == f"Given up after {ATTEMPTS} attempts without an end."


def test_the_sweep_finds_what_nobody_holds() -> None:
    waiting, held, lost = a_job("waiting"), a_job("held"), a_job("lost")
    jobs.take(job=held, at=LATER, seconds=60)
    jobs.take(job=lost, at=AT, seconds=60)
    assert jobs.unfinished(at=LATER) == [waiting, lost]


@pytest.mark.django_db(transaction=True)
def test_of_ten_workers_one_gets_the_job() -> None:
    job = a_job()
    leases = at_once(10, lambda _: jobs.take(job=job, at=AT, seconds=60))
    assert sorted(type(lease).__name__ for lease in leases) == ["Lease"] + ["NoneType"] * 9
    assert Job.objects.get(pk=job).attempts == 1


@pytest.mark.django_db(transaction=True)
def test_of_ten_workers_one_takes_over_from_a_dead_one() -> None:
    job = a_job()
    taken(job)
    leases = at_once(10, lambda _: jobs.take(job=job, at=LATER, seconds=60))
    assert sorted(type(lease).__name__ for lease in leases) == ["Lease"] + ["NoneType"] * 9
    assert Job.objects.get(pk=job).attempts == 2


@pytest.mark.django_db(transaction=True)
def test_ten_who_ask_at_once_ask_for_one_job() -> None:
    asked = at_once(10, lambda _: a_job())
    assert asked == [Job.objects.get().pk] * 10
