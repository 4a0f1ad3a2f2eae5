"""The queue is told after the commit, and a dead queue costs nobody a saved write."""

import os
import threading
from collections.abc import Callable, Iterator
from contextlib import AbstractContextManager, nullcontext
from pathlib import Path

import pytest
from celery import current_app
from django.db import transaction

from pmcore import wake as waking
from pmcore.celery import app
from pmcore.engines.records import SYSTEM
from pmcore.models import Job
from pmcore.services import jobs
from pmcore.wake import wake
from tests import queues
from tests.history import AT
from tests.queues import Queue

pytestmark = pytest.mark.django_db(transaction=True)

Made = Callable[[Path], AbstractContextManager[Queue]]


@pytest.fixture(autouse=True)
def no_pause(monkeypatch: pytest.MonkeyPatch) -> None:
    """What another test broke is not remembered here."""
    monkeypatch.setattr(waking._queue, "left_alone_until", 0.0)


@pytest.fixture(params=[queues.of_files, *([queues.of_redis] if os.environ.get("REDIS_URL") else [])])
def queue(request: pytest.FixtureRequest, tmp_path: Path) -> Iterator[Queue]:
    with request.param(tmp_path) as made:
        yield made


def a_job(key: str = "1") -> int:
    return jobs.ask(kind="verify_record", unique_key=key, arguments={}, actor=SYSTEM, at=AT)


def test_nothing_is_sent_before_the_commit(queue: Queue) -> None:
    with transaction.atomic():
        wake("pmcore.tasks.run_job", 7)
        assert queue.messages() == []
    assert queue.messages() == [("pmcore.tasks.run_job", [7])]


def test_without_a_transaction_it_is_sent_at_once(queue: Queue) -> None:
    wake("pmcore.tasks.run_job", 7)
    assert queue.messages() == [("pmcore.tasks.run_job", [7])]


def test_what_is_rolled_back_wakes_nobody(queue: Queue) -> None:
    with pytest.raises(RuntimeError), transaction.atomic():
        a_job()
        raise RuntimeError
    assert queue.messages() == []
    assert not Job.objects.exists()


def test_a_job_wakes_a_worker_once_however_often_it_is_asked_for(queue: Queue) -> None:
    job = a_job()
    a_job()
    assert queue.messages() == [(jobs.RUN, [job])]


def test_a_sweep_is_sent_to_the_workers_of_sweeps(queue: Queue) -> None:
    wake("pmcore.tasks.sweep_jobs")
    assert queue.messages("long") == []
    assert queue.messages("sweep") == [("pmcore.tasks.sweep_jobs", [])]


def test_the_sweep_wakes_what_nobody_holds(queue: Queue) -> None:
    waiting, held = a_job("waiting"), a_job("held")
    queue.messages()
    jobs.take(job=held, at=AT, seconds=60)
    assert jobs.wake_unfinished(at=AT) == 1
    assert queue.messages() == [(jobs.RUN, [waiting])]


def test_every_thread_of_the_web_process_means_our_queue() -> None:
    found: list[str] = []
    thread = threading.Thread(target=lambda: found.append(current_app.conf.broker_url))
    thread.start()
    thread.join()
    assert found == [app.conf.broker_url]


@pytest.mark.parametrize("dead", [queues.of_removed_files, queues.of_files_in_the_way, queues.of_no_redis])
@pytest.mark.parametrize("unit", [transaction.atomic, nullcontext], ids=["transaction", "autocommit"])
def test_a_dead_queue_never_fails_a_saved_write(
    dead: Made, unit: Callable[[], AbstractContextManager[object]], tmp_path: Path, caplog: pytest.LogCaptureFixture
) -> None:
    with dead(tmp_path / "queue"), unit():
        job = a_job()
    assert jobs.unfinished(at=AT) == [job]
    assert "the queue cannot be reached" in caplog.text


def test_a_silent_queue_never_fails_a_saved_write(tmp_path: Path, caplog: pytest.LogCaptureFixture) -> None:
    with queues.of_silent_redis(tmp_path):
        job = a_job()
    assert jobs.unfinished(at=AT) == [job]
    assert "the queue cannot be reached" in caplog.text


def test_who_wakes_many_waits_for_one_failure(tmp_path: Path, caplog: pytest.LogCaptureFixture) -> None:
    with queues.of_no_redis(tmp_path):
        for number in range(20):
            wake("pmcore.tasks.run_job", number)
    assert caplog.text.count("the queue cannot be reached") == 1


def test_a_queue_that_came_back_is_used_again(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(waking, "PAUSE_SECONDS", 0.0)
    with queues.of_no_redis(tmp_path):
        wake("pmcore.tasks.run_job", 1)
    with queues.of_files(tmp_path) as queue:
        wake("pmcore.tasks.run_job", 2)
        assert queue.messages() == [("pmcore.tasks.run_job", [2])]
