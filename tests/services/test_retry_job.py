"""A parked job is tried again by an administrator: once for each time it was parked, and only if it may be wanted."""

import datetime as dt
from typing import Any

import pytest

from pmcore import tasks
from pmcore.engines.records import SYSTEM, Actor
from pmcore.engines.vocabulary import JobState, Role, TokenDeed
from pmcore.models import Account, Entry, ExportStatement, Job, Text, Token
from pmcore.services import exports, jobs, retry_job, token_use
from pmcore.services.exports import ask_export, cancel_export
from pmcore.services.redaction import redact_text
from pmcore.services.refusals import NotAllowed
from pmcore.services.retry_job import NoLongerParked, NoSuchJob, NotWanted
from pmcore.services.tokens import create_token
from pmcore.services.verifications import ask_verification
from tests.cast import a_hospital, a_person, check_refused
from tests.export.building import NOW
from tests.history import small_world
from tests.services.test_append_concurrently import at_once

pytestmark = pytest.mark.django_db

LATER = NOW + dt.timedelta(hours=1)
ADMINISTRATOR = Actor(None, Role.ADMINISTRATOR, None)


@pytest.fixture(autouse=True)
def data(settings: Any, tmp_path: Any) -> None:
    settings.DATA, settings.SIGNING_KEY = tmp_path, tmp_path / "signing-key"


def parked(job: int, error: str = "RecordBusy: The record is busy.") -> int:
    """After all its attempts ended in vain."""
    for _ in range(jobs.ATTEMPTS):
        lease = jobs.take(job=job, at=NOW, seconds=60)
        assert lease is not None
        jobs.fail(lease=lease, at=NOW, error=error)
    assert Job.objects.get(pk=job).state == JobState.PARKED
    return job


def a_parked_job() -> int:
    return parked(jobs.ask(kind="verify_record", unique_key="of 3 entries", arguments={}, actor=SYSTEM, at=NOW))


def retried(job: int, parked_at: dt.datetime = NOW, actor: Actor = ADMINISTRATOR) -> None:
    retry_job.retry_job(job=job, parked_at=parked_at, actor=actor, at=LATER)


def test_it_waits_again_with_all_its_attempts_and_its_last_reason() -> None:
    job = a_parked_job()
    retried(job)
    row = Job.objects.get(pk=job)
    assert (row.state, row.attempts, row.ended_at, row.asked_at) == (JobState.WAITING, 0, None, NOW)
    assert row.error == "RecordBusy: The record is busy."
    assert jobs.unfinished(at=LATER) == [job]


def test_a_worker_is_told(monkeypatch: pytest.MonkeyPatch) -> None:
    woken: list[tuple[str, int]] = []
    monkeypatch.setattr(retry_job, "wake", lambda task, job: woken.append((task, job)))
    job = a_parked_job()
    retried(job)
    assert woken == [(jobs.RUN, job)]


def test_of_two_clicks_one_counts() -> None:
    job = a_parked_job()
    retried(job)
    with pytest.raises(NoLongerParked, match="Somebody tried it again already"):
        retried(job)


def test_a_click_on_an_old_page_tries_nothing_that_was_parked_again_since() -> None:
    job = a_parked_job()
    retried(job)
    lease = jobs.take(job=job, at=LATER, seconds=60)
    assert lease is not None
    jobs.fail(lease=lease, at=LATER, error="RecordDamaged: gone", again=False)
    with pytest.raises(NoLongerParked):
        retried(job, NOW)
    assert Job.objects.get(pk=job).state == JobState.PARKED
    retried(job, LATER)
    assert Job.objects.get(pk=job).state == JobState.WAITING


@pytest.mark.django_db(transaction=True)
def test_of_many_at_once_one_counts() -> None:
    job = a_parked_job()
    answers = at_once(6, lambda _: retried(job))
    assert sorted(type(each).__name__ for each in answers) == ["NoLongerParked"] * 5 + ["NoneType"]


@pytest.mark.parametrize("state", [JobState.WAITING, JobState.RUNNING, JobState.DONE])
def test_what_is_not_parked_is_left_alone(state: JobState) -> None:
    job = jobs.ask(kind="verify_record", unique_key="a", arguments={}, actor=SYSTEM, at=NOW)
    Job.objects.filter(pk=job).update(state=state, ended_at=NOW, attempts=2)
    with pytest.raises(NoLongerParked):
        retried(job)
    row = Job.objects.get(pk=job)
    assert (row.state, row.attempts) == (state, 2)


def test_what_is_not_there_is_named() -> None:
    with pytest.raises(NoSuchJob, match="no job 99"):
        retried(99)


@pytest.mark.parametrize("role", sorted(set(Role) - {Role.ADMINISTRATOR}))
def test_the_administrator_alone_does_it(role: Role) -> None:
    job = a_parked_job()
    with check_refused(NotAllowed, "may not retry a job"):
        retried(job, actor=Actor(None, role, None))
    with check_refused(NotAllowed, "read-only token"):
        retried(job, actor=Actor(None, Role.ADMINISTRATOR, None, token=1))
    assert Job.objects.get(pk=job).state == JobState.PARKED


# Each kind of job


def test_a_verification_verifies() -> None:
    small_world()
    job = parked(ask_verification(actor=ADMINISTRATOR, at=NOW))
    retried(job)
    tasks.run_job(job)
    row = Job.objects.get(pk=job)
    assert (row.state, row.answer["sound"]) == (JobState.DONE, True)


def test_an_export_is_made_and_stands_in_the_record_once() -> None:
    small_world()
    job = ask_export(actor=ADMINISTRATOR, at=NOW)
    tasks.run_job(job)
    Job.objects.filter(pk=job).update(state=JobState.WAITING, attempts=0)  # its worker died before it said so
    parked(job)
    retried(job)
    tasks.run_job(job)
    assert Job.objects.get(pk=job).state == JobState.DONE
    assert ExportStatement.objects.count() == 1


def test_an_export_that_was_cancelled_is_not_made_behind_anybodys_back() -> None:
    small_world()
    job = ask_export(actor=ADMINISTRATOR, at=NOW)
    cancel_export(export=job, actor=ADMINISTRATOR, at=NOW)
    with pytest.raises(NotWanted, match="This export was cancelled"):
        retried(job)
    assert Job.objects.get(pk=job).state == JobState.PARKED
    assert exports.ask_export(actor=ADMINISTRATOR, at=LATER) == job
    assert Job.objects.get(pk=job).state == JobState.WAITING


def test_an_export_with_words_that_were_taken_out_since_can_never_be_made() -> None:
    small_world()
    job = parked(ask_export(actor=ADMINISTRATOR, at=NOW))
    digest = Text.objects.order_by("entry")[0].digest
    redact_text(digest=digest, reason="Asked for.", actor=SYSTEM, at=NOW)
    with pytest.raises(NotWanted, match="Words were taken out of the record"):
        retried(job)
    assert Job.objects.get(pk=job).state == JobState.PARKED


def test_the_use_of_a_token_is_noted_once() -> None:
    reader = a_person("Ines Kaldervik", Role.AUDITOR, a_hospital().alderwick)
    Account.objects.create_user("ines", password="a-long-password-1", person_id=reader.person)
    create_token(username="ines", label="auditors", actor=SYSTEM, at=NOW, read_only=True)
    shown = Actor(reader.person, Role.AUDITOR, reader.sites, token=Token.objects.get().pk)
    token_use.note_token_use(actor=shown, deed=TokenDeed.READ, at=NOW)
    job = Job.objects.get(kind=token_use.KIND).pk
    token_use.append_token_use(arguments=Job.objects.get(pk=job).arguments, at=NOW)  # its worker died before it said so
    parked(job)
    retried(job)
    tasks.run_job(job)
    assert Job.objects.get(pk=job).state == JobState.DONE
    assert Entry.objects.filter(kind="token_used").count() == 1


def test_a_kind_that_no_worker_knows_is_parked_again_with_its_reason() -> None:
    job = parked(jobs.ask(kind="of_a_newer_version", unique_key="a", arguments={}, actor=SYSTEM, at=NOW))
    retried(job)
    for _ in range(jobs.ATTEMPTS):
        tasks.run_job(job)
    row = Job.objects.get(pk=job)
    assert (row.state, row.error.partition(":")[0]) == (JobState.PARKED, "UnknownJob")


def test_every_kind_that_workers_do_is_tried_here() -> None:
    assert set(tasks.HANDLERS) == {"verify_record", "export_history", "note_token_use"}
