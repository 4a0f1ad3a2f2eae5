"""The queue is told after the commit, and a dead queue costs nobody a saved write."""

from collections.abc import Callable
from typing import Any

import pytest
from celery import current_app
from django.db import transaction
from kombu.exceptions import OperationalError

from pmcore.engines.records import SYSTEM
from pmcore.models import Job
from pmcore.services import jobs
from pmcore.wake import wake
from tests.history import AT

pytestmark = pytest.mark.django_db(transaction=True)


@pytest.fixture
def sent(monkeypatch: pytest.MonkeyPatch) -> list[tuple[str, tuple[int, ...]]]:
    messages: list[tuple[str, tuple[int, ...]]] = []
    monkeypatch.setattr(current_app, "send_task", lambda task, args: messages.append((task, args)))
    return messages


def test_nothing_is_sent_before_the_commit(sent: list[Any]) -> None:
    with transaction.atomic():
        wake("pmcore.tasks.run_job", 7)
        assert sent == []
    assert sent == [("pmcore.tasks.run_job", (7,))]


def test_what_is_rolled_back_wakes_nobody(sent: list[Any]) -> None:
    with pytest.raises(RuntimeError), transaction.atomic():
        jobs.ask(kind="verify_record", unique_key="1", arguments={}, actor=SYSTEM, at=AT)
        raise RuntimeError
    assert sent == []
    assert not Job.objects.exists()


def test_the_sweep_wakes_what_nobody_holds(sent: list[Any]) -> None:
    job = jobs.ask(kind="verify_record", unique_key="1", arguments={}, actor=SYSTEM, at=AT)
    assert jobs.wake_unfinished(at=AT) == 1
    assert sent == [(jobs.RUN, (job,))] * 2


def _unreachable(monkeypatch: pytest.MonkeyPatch) -> None:
    def refuse(*_: Any, **__: Any) -> None:
        raise OperationalError("connection refused")

    monkeypatch.setattr(current_app, "send_task", refuse)


def _full_disk(monkeypatch: pytest.MonkeyPatch) -> None:
    def refuse(*_: Any, **__: Any) -> None:
        raise OSError(28, "No space left on device")

    monkeypatch.setattr(current_app, "send_task", refuse)


@pytest.mark.parametrize("kill", [_unreachable, _full_disk])
def test_a_dead_queue_never_fails_a_saved_write(
    kill: Callable[[pytest.MonkeyPatch], None], monkeypatch: pytest.MonkeyPatch
) -> None:
    kill(monkeypatch)
    job = jobs.ask(kind="verify_record", unique_key="1", arguments={}, actor=SYSTEM, at=AT)
    assert jobs.unfinished(at=AT) == [job]
