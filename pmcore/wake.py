"""After commit, tell the queue an id. A dead queue never turns a saved write into an error: the sweep finds the row."""

import structlog
from celery import current_app
from django.db import transaction
from kombu.exceptions import OperationalError

log = structlog.get_logger(__name__)


def wake(task: str, *ids: int) -> None:
    """Send the task with the ids once the transaction that is open, if any, has been committed."""
    transaction.on_commit(lambda: _send(task, ids), robust=True)


def _send(task: str, ids: tuple[int, ...]) -> None:
    try:
        current_app.send_task(task, args=ids)
    except (OperationalError, OSError) as error:
        log.warning("the queue cannot be reached", task=task, ids=ids, error=str(error))
