"""What a worker does with a job: whatever comes of it stands on the job's row."""

import datetime as dt
from typing import Any

import pytest
import time_machine

from pmcore import tasks
from pmcore.engines.records import SYSTEM
from pmcore.models import Job
from pmcore.queries.head import head
from pmcore.services import jobs
from pmcore.tasks import Handler, Say, run_job
from tests.history import AT, small_history

pytestmark = pytest.mark.django_db


@pytest.fixture(autouse=True)
def at() -> Any:
    with time_machine.travel(AT, tick=False):
        yield


def asked(kind: str = "count_sheep") -> int:
    return jobs.ask(kind=kind, unique_key="1", arguments={"sheep": 3}, actor=SYSTEM, at=AT)


def done_by(handler: Handler, monkeypatch: pytest.MonkeyPatch) -> Job:
    monkeypatch.setitem(tasks.HANDLERS, "count_sheep", handler)
    job = asked()
    run_job(job)
    return Job.objects.get(pk=job)


def test_the_record_is_verified() -> None:
    small_history()
    job = asked("verify_record")
    run_job(job)
    done = Job.objects.get(pk=job)
    assert (done.state, done.attempts, done.ended_at) == ("done", 1, AT)
    assert done.answer == {"size": head().size, "root": head().root.hex(), "sound": True, "faults": []}
    assert done.progress == f"{head().size} of {head().size} entries"


def test_a_handler_is_given_the_arguments_and_its_answer_is_kept(monkeypatch: pytest.MonkeyPatch) -> None:
    job = done_by(lambda arguments, say: {"counted": arguments["sheep"]}, monkeypatch)
    assert (job.state, job.answer) == ("done", {"counted": 3})


def test_who_says_something_holds_the_job_for_longer(monkeypatch: pytest.MonkeyPatch) -> None:
    held: list[tuple[Any, str]] = []

    def count(arguments: dict[str, Any], say: Say) -> None:
        with time_machine.travel(AT + dt.timedelta(seconds=100), tick=False):
            say("one sheep")
        job = Job.objects.get()
        held.append((job.leased_until_at, job.progress))

    done_by(count, monkeypatch)
    assert held == [(AT + dt.timedelta(seconds=100 + tasks.LEASE_SECONDS), "one sheep")]


def test_a_failure_is_kept_and_the_job_waits_for_another_try(monkeypatch: pytest.MonkeyPatch) -> None:
    def fail(arguments: dict[str, Any], say: Say) -> None:
        raise ValueError("the sheep do not stand still")

    job = done_by(fail, monkeypatch)
    assert (job.state, job.error) == ("waiting", "ValueError: the sheep do not stand still")
    assert jobs.unfinished(at=AT) == [job.pk]


@pytest.mark.django_db(transaction=True)
def test_an_answer_that_cannot_be_kept_is_a_failure(monkeypatch: pytest.MonkeyPatch) -> None:
    job = done_by(lambda arguments, say: {1, 2, 3}, monkeypatch)
    assert (job.state, job.error) == ("waiting", "TypeError: Object of type set is not JSON serializable")


def test_a_job_that_nobody_knows_says_so() -> None:
    job = asked("count_goats")
    run_job(job)
    assert Job.objects.get(pk=job).error == (
        "UnknownJob: No worker does jobs of the kind 'count_goats', only export_history, note_token_use, verify_record."
    )


@pytest.mark.parametrize("outcome", ["answer", "failure", "progress"])
def test_who_lost_the_job_changes_nothing_of_it(
    outcome: str, monkeypatch: pytest.MonkeyPatch, caplog: pytest.LogCaptureFixture
) -> None:
    def too_slow(arguments: dict[str, Any], say: Say) -> str:
        later = AT + dt.timedelta(seconds=tasks.LEASE_SECONDS)
        quick = jobs.take(job=Job.objects.get().pk, at=later, seconds=60)
        assert quick is not None
        jobs.finish(lease=quick, at=later, answer="quick")
        if outcome == "progress":
            say("slow")
        if outcome == "failure":
            raise ValueError("slow")
        return "slow"

    job = done_by(too_slow, monkeypatch)
    assert (job.state, job.answer, job.error, job.progress) == ("done", "quick", "", "")
    assert "a job was lost" in caplog.text
    assert ("a job failed" in caplog.text) == (outcome == "failure")


def test_a_job_that_another_holds_is_left_alone(monkeypatch: pytest.MonkeyPatch) -> None:
    jobs.take(job=asked(), at=AT, seconds=60)
    job = done_by(lambda arguments, say: "done twice", monkeypatch)
    assert (job.state, job.answer) == ("running", None)
