"""What the administrator's page tells: jobs, the daily work of the sites, readers of the history, and the record."""

import datetime as dt
from typing import Any

import pytest
from django.db import connection

from pmcore import tasks
from pmcore.engines.records import SYSTEM, Actor
from pmcore.engines.vocabulary import JobState, Role
from pmcore.models import AlertSweep, Entry, Follower, Job, SiteSweep, guards
from pmcore.queries.administration import Administration, Reader, administration
from pmcore.queries.head import head
from pmcore.queries.job_list import ENDED_ROWS, OPEN_ROWS
from pmcore.services import jobs
from pmcore.services.exports import ask_export, cancel_export
from pmcore.services.keep_standings import keep_standings
from pmcore.services.signing import sign_growth
from pmcore.services.verifications import ask_verification
from tests.cast import Hospital, a_hospital
from tests.export.building import NOW

pytestmark = pytest.mark.django_db

TODAY = NOW.date()
HOUR = dt.timedelta(hours=1)
STATEMENTS = {"sqlite": 22, "postgresql": 23}[connection.vendor]  # guards are looked up in two steps there


@pytest.fixture
def hospital(settings: Any, tmp_path: Any) -> Hospital:
    settings.DATA, settings.SIGNING_KEY = tmp_path, tmp_path / "signing-key"
    return a_hospital()


def told() -> Administration:
    return administration(at=NOW)


def asked(key: str, actor: Actor = SYSTEM, at: dt.datetime = NOW, **values: Any) -> int:
    job = jobs.ask(kind="note_token_use", unique_key=key, arguments={}, actor=actor, at=at)
    Job.objects.filter(pk=job).update(**values)
    return job


def parked(key: str, at: dt.datetime = NOW) -> int:
    return asked(key, at=at, state=JobState.PARKED, attempts=5, ended_at=at, error="RecordBusy: busy")


# Jobs


def test_jobs_are_counted_by_what_is_to_be_done_with_them(hospital: Hospital) -> None:
    asked("a"), asked("b")
    asked("c", state=JobState.RUNNING)
    asked("d", state=JobState.DONE, ended_at=NOW)
    parked("e")
    found = told().jobs
    assert (found.waiting, found.running, found.parked) == (2, 1, 1)
    assert [job.name for job in found.open] == ["e", "a", "b", "c"]
    assert [job.name for job in found.ended] == ["d"]


def test_a_job_says_who_asked_and_why_it_stands(hospital: Hospital) -> None:
    asked("mine", hospital.odile, at=NOW - HOUR)
    parked("nobody's")
    first, second = told().jobs.open
    assert (first.asked_by, first.attempts, first.error, first.can_retry) == (None, 5, "RecordBusy: busy", True)
    assert (second.asked_by, second.asked_at, second.can_retry) == ("Odile Brandt-Ferro", NOW - HOUR, False)


@pytest.mark.parametrize(("seconds", "over"), [(0, True), (1, False)])
def test_a_lease_that_is_over_is_told(hospital: Hospital, seconds: int, over: bool) -> None:
    until = NOW + dt.timedelta(seconds=seconds)
    asked("a", state=JobState.RUNNING, leased_until_at=until)
    assert [job.lease_over for job in told().jobs.open] == [over]


def test_an_export_that_was_cancelled_is_no_trouble(hospital: Hospital) -> None:
    export = ask_export(actor=hospital.odile, at=NOW)
    cancel_export(export=export, actor=hospital.odile, at=NOW)
    found = told().jobs
    assert (found.parked, found.open) == (0, ())
    assert [(job.job, job.cancelled, job.can_retry) for job in found.ended] == [(export, True, False)]
    assert found.ended[0].scope is not None
    assert found.ended[0].scope.known == head().size


def test_lists_are_bounded_and_counts_are_not(hospital: Hospital) -> None:
    for number in range(OPEN_ROWS + 2):
        parked(f"p{number}", NOW + number * HOUR)
    for number in range(ENDED_ROWS + 2):
        asked(f"d{number}", state=JobState.DONE, ended_at=NOW + number * HOUR)
    found = told().jobs
    assert (found.parked, len(found.open), len(found.ended)) == (OPEN_ROWS + 2, OPEN_ROWS, ENDED_ROWS)
    assert found.open[0].name == "p0"
    assert found.ended[0].name == f"d{ENDED_ROWS + 1}"


# Sites and readers


def test_of_each_site_the_days_of_its_sweeps(hospital: Hospital) -> None:
    yesterday = TODAY - dt.timedelta(days=1)
    SiteSweep.objects.create(site_id=hospital.alderwick, swept_on=TODAY, swept_at=NOW)
    AlertSweep.objects.create(site_id=hospital.alderwick, swept_on=yesterday)
    first, second = told().sites
    assert (first.name, first.wanted_on, first.due_on, first.alerts_on) == (
        "Alderwick General",
        TODAY,
        TODAY,
        yesterday,
    )
    assert (second.name, second.due_on, second.alerts_on) == ("Stennet Point", None, None)


def test_a_site_has_two_hours_after_its_midnight(hospital: Hospital) -> None:
    midnight = dt.datetime(2026, 7, 1, 23, tzinfo=dt.UTC)  # in London
    for minutes, wanted in ((119, "2026-07-01"), (120, "2026-07-02")):
        site = administration(at=midnight + dt.timedelta(minutes=minutes)).sites[0]
        assert (site.today.isoformat(), site.wanted_on.isoformat()) == ("2026-07-02", wanted)


def test_a_reader_is_behind_by_what_it_has_not_read(hospital: Hospital) -> None:
    size = head().size
    Follower.objects.create(name="alerts", seen=size - 2)
    waiting = Entry.objects.get(seq=size - 1).at
    assert told().readers == (Reader("alerts", 2, waiting), Reader("standings", None, None))
    keep_standings()
    Follower.objects.update(seen=size + 3)
    assert told().readers == (Reader("alerts", -3, None), Reader("standings", 0, None))


# The record


def test_of_the_record_its_head_and_its_last_verification(hospital: Hospital) -> None:
    assert (told().record.head, told().record.verified, told().record.verifying) == (None, None, None)
    signed = sign_growth(at=NOW)
    assert signed is not None
    job = ask_verification(actor=hospital.odile, at=NOW)
    assert told().record.verifying == "waiting for a worker"
    tasks.run_job(job)
    record = told().record
    assert (record.size, record.root, record.damage) == (head().size, head().root.hex(), "")
    assert record.head is not None
    assert record.head.size == signed.size
    assert record.verified is not None
    assert (record.verified.sound, record.verified.size, record.verifying) == (True, record.size, None)


def test_a_record_that_contradicts_itself_is_told_of(hospital: Hospital) -> None:
    guards.take_down(connection)
    with connection.cursor() as cursor:
        cursor.execute("UPDATE pmcore_entry SET edge = NULL WHERE seq = (SELECT max(seq) FROM pmcore_entry)")
    guards.put_up(connection)
    found = told()
    assert found.record.damage.endswith("is the newest and carries no right edge.")
    assert (found.record.size, found.record.root, len(found.sites)) == (0, "", 2)


def test_what_keeps_it_from_serving_is_told(hospital: Hospital) -> None:
    assert told().faults == ()
    guards.take_down(connection)
    try:
        assert told().faults == ("The record is not guarded.",)
    finally:
        guards.put_up(connection)


def test_it_costs_the_same_statements_however_much_there_is(hospital: Hospital, django_assert_num_queries: Any) -> None:
    Follower.objects.create(name="alerts", seen=1)
    asked("first", hospital.odile)
    with django_assert_num_queries(STATEMENTS):
        told()
    for number in range(30):
        parked(f"p{number}")
        asked(f"d{number}", hospital.wim, state=JobState.DONE, ended_at=NOW)
    ask_export(actor=Actor(hospital.odile.person, Role.MANAGER, None), at=NOW)
    Follower.objects.create(name="another", seen=2)
    keep_standings()
    with django_assert_num_queries(STATEMENTS):
        told()
