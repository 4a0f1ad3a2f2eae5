"""After commit, tell the queue an id. A dead queue never turns a saved write into an error: the sweep finds the row."""

import time

import structlog
from celery import current_app
from django.db import transaction

PAUSE_SECONDS = 5.0

log = structlog.get_logger(__name__)


class _Queue:
    """After a failure the queue is left alone for a moment, so that a caller who wakes many waits for one failure."""

    def __init__(self) -> None:
        self.left_alone_until = 0.0

    def send(self, task: str, ids: tuple[int, ...]) -> None:
        if time.monotonic() < self.left_alone_until:
            return
        try:
            current_app.send_task(task, args=ids)
        except Exception as error:  # whatever the driver of the queue raises, the row is saved
            self.left_alone_until = time.monotonic() + PAUSE_SECONDS
            log.warning("the queue cannot be reached", task=task, ids=ids, error=f"{type(error).__name__}: {error}")


_queue = _Queue()


def wake(task: str, *ids: int) -> None:
    """Send the task with the ids once the transaction that is open, if any, has been committed."""
    transaction.on_commit(lambda: _queue.send(task, ids), robust=True)
