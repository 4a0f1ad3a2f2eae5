"""A process that is killed at any line of an append leaves the entry whole, or nothing of it."""

import os
import signal
import sys
from types import FrameType
from typing import Any

import pytest
from django.db import connections

from pmcore.models import Placement
from pmcore.models.rows import Row
from pmcore.queries.head import head
from pmcore.queries.verification import verify
from pmcore.services import append as writer
from pmcore.services import inserts, lock, preparation
from tests.history import MARCH, World, day, small_world, written

pytestmark = [
    pytest.mark.django_db(transaction=True),
    pytest.mark.skipif(not hasattr(os, "fork"), reason="the kill needs a fork"),
]

_WATCHED = {module.__file__ for module in (writer, preparation, inserts, lock)}
_DONE = 0


def _append_and_die(world: World, wrong: Placement, line: int) -> None:
    """In a child process: a correction with free text, killed when the so manyth line of the writer begins."""
    passed = 0

    def count_lines(frame: FrameType, event: str, _: Any) -> Any:
        nonlocal passed
        if frame.f_code.co_filename not in _WATCHED:
            return None
        if event == "line":
            passed += 1
            if passed == line:
                os.kill(os.getpid(), signal.SIGKILL)
        return count_lines

    sys.settrace(count_lines)
    right = Row(Placement, device=world.device, area=world.theatre, from_on=day("2026-04-01"))
    written("device_placed", world.device, right, replaces=[wrong], note="It was April.")
    sys.settrace(None)
    os._exit(_DONE)


def _run_in_a_child(world: World, wrong: Placement, line: int) -> bool:
    """Whether the child came to its end. Connections are closed first: a child must not share one."""
    connections.close_all()
    child = os.fork()
    if child == 0:
        try:
            _append_and_die(world, wrong, line)
        finally:
            os._exit(99)
    _, status = os.waitpid(child, 0)
    if os.WIFSIGNALED(status):
        assert os.WTERMSIG(status) == signal.SIGKILL
        return False
    assert os.WEXITSTATUS(status) == _DONE
    return True


def test_a_kill_at_any_line_leaves_all_or_nothing() -> None:
    world = small_world()
    written("device_placed", world.device, Row(Placement, device=world.device, area=world.ward, from_on=MARCH))
    wrong = Placement.objects.current().get(device=world.device, from_on=MARCH)
    before = head().size
    kills = 0
    while not _run_in_a_child(world, wrong, kills + 1):
        kills += 1
        assert verify().sound
        written_whole = head().size == before + 1
        assert Placement.objects.filter(pk=wrong.pk, replaced_by__isnull=not written_whole).exists()
        if written_whole:
            break  # killed after the commit: all of it is there
    assert kills > 50
    assert head().size == before + 1
    assert verify().sound
