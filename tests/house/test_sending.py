"""Only `wake` sends to the queue: who sends inside a transaction sends a worker to a row that is not there yet."""

import ast

import pytest

from tests.house.checkout import named, source_files

pytestmark = pytest.mark.house

_SENDING = {"delay", "delay_on_commit", "apply_async", "apply_async_on_commit", "send_task"}


def sending_lines(source: str) -> list[int]:
    """Lines that name a method which sends a task."""
    nodes = ast.walk(ast.parse(source))
    return sorted(node.lineno for node in nodes if isinstance(node, ast.Attribute) and node.attr in _SENDING)


def test_only_wake_sends() -> None:
    sending = {named(path) for path in source_files() if sending_lines(path.read_text())}
    assert sending == {"pmcore/wake.py"}


@pytest.mark.parametrize(
    "source",
    [
        "run_job.delay(7)",
        "run_job.si(7).apply_async()",
        "transaction.on_commit(partial(run_job.delay, 7))",
        "run_job.delay_on_commit(7)",
        "current_app.send_task('run_job', args=[7])",
    ],
)
def test_sending_is_seen(source: str) -> None:
    assert sending_lines(source) == [1]


def test_other_uses_of_the_words_are_no_offence() -> None:
    assert sending_lines("delay = 7\nwake(RUN, delay)\nsend_task = 'delay'") == []
