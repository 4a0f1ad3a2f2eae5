"""A child that dies is started again after a pause that grows, and dies with the process that started it."""

import os
import signal
import subprocess
import sys
from collections.abc import Iterator
from pathlib import Path

import pytest

from pmcore.supervisor import child as module
from pmcore.supervisor.child import Child, Program, Surroundings
from tests.demonstrations import wait_until
from tests.house.checkout import ROOT

ENDS_AT_ONCE = Program("poet", "this", ())  # prints its lines and ends
RUNS_ON = Program("listener", "http.server", ("--bind", "127.0.0.1", "0"))


class Clock:
    def __init__(self) -> None:
        self.now = 1_000.0

    def monotonic(self) -> float:
        return self.now


@pytest.fixture
def clock(monkeypatch: pytest.MonkeyPatch) -> Clock:
    set_by_hand = Clock()
    monkeypatch.setattr(module, "time", set_by_hand)
    return set_by_hand


@pytest.fixture
def pipe() -> Iterator[tuple[int, int]]:
    ends = os.pipe()
    yield ends
    for end in ends:
        try:
            os.close(end)
        except OSError:
            continue  # the test has closed it


@pytest.fixture
def around(tmp_path: Path, pipe: tuple[int, int]) -> Surroundings:
    return Surroundings(ROOT, tmp_path, pipe[0], dict(os.environ))


def start_and_see_the_end(child: Child, said: list[str]) -> None:
    before = len(said)

    def seen() -> bool:
        child.look_after()
        return len(said) > before

    assert wait_until(seen)


def test_the_pause_grows_and_its_log_keeps_what_it_said(around: Surroundings, clock: Clock) -> None:
    said: list[str] = []
    child = Child(ENDS_AT_ONCE, around, said.append)
    for pause in (1, 2, 4):
        start_and_see_the_end(child, said)
        assert f"poet ended (status 0) and starts again in {pause} s" in said[-1]
        assert str(child.log) in said[-1]
        clock.now += pause
    assert child.log.read_text().count("Zen") == 3
    assert child.log.stat().st_mode & 0o777 == 0o600


def test_before_the_pause_is_over_nothing_starts(around: Surroundings, clock: Clock) -> None:
    said: list[str] = []
    child = Child(ENDS_AT_ONCE, around, said.append)
    start_and_see_the_end(child, said)
    clock.now += 0.9
    child.look_after()
    assert child.has_ended()
    assert child.log.read_text().count("Zen") == 1


def test_one_that_lived_long_starts_again_with_the_shortest_pause(around: Surroundings, clock: Clock) -> None:
    said: list[str] = []
    child = Child(ENDS_AT_ONCE, around, said.append)
    for _ in range(3):
        start_and_see_the_end(child, said)
        clock.now += 10
    child.look_after()
    clock.now += module.LONGEST_PAUSE
    start_and_see_the_end(child, said)
    assert "starts again in 1 s" in said[-1]


def test_one_that_somebody_killed_is_named_with_the_signal(around: Surroundings) -> None:
    said: list[str] = []
    child = Child(RUNS_ON, around, said.append)
    child.look_after()
    assert child._process is not None
    os.kill(child._process.pid, signal.SIGKILL)
    start_and_see_the_end(child, said)
    assert said[-1].startswith("listener ended (SIGKILL)")


def test_it_ends_when_it_is_made_to(around: Surroundings) -> None:
    child = Child(RUNS_ON, around, print)
    child.look_after()
    assert not child.has_ended()
    child.end()
    assert child.has_ended()


def test_a_tethered_process_is_killed_when_the_other_end_of_its_pipe_closes(pipe: tuple[int, int]) -> None:
    reading, writing = pipe
    tethered = (sys.executable, "-m", "pmcore.supervisor.tethered", str(reading), RUNS_ON.module, *RUNS_ON.arguments)
    process = subprocess.Popen(
        tethered, cwd=ROOT, pass_fds=[reading], start_new_session=True, stdout=subprocess.PIPE, text=True,
        env={**os.environ, "PYTHONUNBUFFERED": "1"},
    )  # fmt: skip
    assert process.stdout is not None
    assert process.stdout.readline().startswith("Serving")
    assert process.poll() is None
    os.close(writing)
    assert process.wait(60) == -signal.SIGKILL
    process.stdout.close()
