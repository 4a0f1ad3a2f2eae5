"""One child process: how it is started, where its output goes, and when it is started again."""

import os
import signal
import subprocess
import sys
import time
from collections.abc import Callable
from contextlib import suppress
from dataclasses import dataclass
from pathlib import Path

LONGEST_PAUSE = 60.0
"""Seconds. A child that lived for so long starts again with the shortest pause."""

Say = Callable[[str], None]


@dataclass(frozen=True, slots=True)
class Program:
    """A Python module to run as a child; `keeps` is a file descriptor that it inherits."""

    name: str
    module: str
    arguments: tuple[str, ...]
    keeps: int | None = None


@dataclass(frozen=True, slots=True)
class Surroundings:
    """What all children share. `pipe`: the end that they read, and that ends with the supervisor."""

    checkout: Path
    logs: Path
    pipe: int
    variables: dict[str, str]


class Child:
    """A program that is kept running. Its process leads a group of its own, so that nothing of it is left behind."""

    def __init__(self, program: Program, surroundings: Surroundings, say: Say) -> None:
        self.program = program
        self.log = surroundings.logs / f"{program.name}.log"
        self._surroundings = surroundings
        self._say = say
        self._pause = 1.0
        self._start_at = 0.0
        self._started_at = 0.0
        self._process: subprocess.Popen[bytes] | None = None

    def look_after(self) -> None:
        """Start it when its time has come; notice its end, and say so."""
        now = time.monotonic()
        if self._process is None:
            if now >= self._start_at:
                self._start(now)
            return
        status = self._process.poll()
        if status is None:
            return
        self._clear(self._process.pid)
        self._process = None
        if now - self._started_at >= LONGEST_PAUSE:
            self._pause = 1.0
        self._start_at = now + self._pause
        self._say(
            f"{self.program.name} ended ({_in_words(status)}) and starts again in {self._pause:g} s. "
            f"What it said: {self.log}"
        )
        self._pause = min(2 * self._pause, LONGEST_PAUSE)

    def ask_to_end(self) -> None:
        if self._process is not None:
            with suppress(ProcessLookupError):
                self._process.terminate()

    def has_ended(self) -> bool:
        return self._process is None or self._process.poll() is not None

    def end(self) -> None:
        """Whatever it is doing: it and what it started is gone afterwards."""
        if self._process is not None:
            self._clear(self._process.pid)
            self._process.wait()
            self._process = None

    def _start(self, now: float) -> None:
        around, program = self._surroundings, self.program
        tether = (sys.executable, "-m", "pmcore.supervisor.tethered", str(around.pipe), program.module)
        with os.fdopen(os.open(self.log, os.O_WRONLY | os.O_CREAT | os.O_APPEND, 0o600), "ab") as log:
            self._process = subprocess.Popen(
                [*tether, *program.arguments],
                cwd=around.checkout,
                env=around.variables,
                stdin=subprocess.DEVNULL,
                stdout=log,
                stderr=log,
                pass_fds=[around.pipe, *([] if program.keeps is None else [program.keeps])],
                start_new_session=True,
            )
        self._started_at = now

    @staticmethod
    def _clear(group: int) -> None:
        with suppress(ProcessLookupError):
            os.killpg(group, signal.SIGKILL)


def _in_words(status: int) -> str:
    return f"status {status}" if status >= 0 else signal.Signals(-status).name
