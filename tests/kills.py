"""A child process that is killed when the so manyth line of certain modules begins."""

import os
import signal
import sys
from collections.abc import Callable
from types import FrameType, ModuleType
from typing import Any

from django.db import connections

_DONE = 0


def comes_to_its_end(deed: Callable[[], object], watched: set[ModuleType], line: int) -> bool:
    """Whether the child did the deed, before that line of the watched modules was reached. Connections are closed
    first: a child must not share one."""
    connections.close_all()
    child = os.fork()
    if child == 0:
        try:
            _do_and_die(deed, {module.__file__ for module in watched}, line)
        finally:
            os._exit(99)
    _, status = os.waitpid(child, 0)
    if os.WIFSIGNALED(status):
        assert os.WTERMSIG(status) == signal.SIGKILL
        return False
    assert os.WEXITSTATUS(status) == _DONE
    return True


def _do_and_die(deed: Callable[[], object], watched: set[str | None], line: int) -> None:
    passed = 0

    def count_lines(frame: FrameType, event: str, _: Any) -> Any:
        nonlocal passed
        if frame.f_code.co_filename not in watched:
            return None
        if event == "line":
            passed += 1
            if passed == line:
                os.kill(os.getpid(), signal.SIGKILL)
        return count_lines

    sys.settrace(count_lines)
    deed()
    sys.settrace(None)
    os._exit(_DONE)
