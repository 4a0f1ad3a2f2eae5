"""The supervisor: children from start to end."""

import http.client
import os
import signal
import socket
import time
from collections.abc import Callable, Iterator
from contextlib import contextmanager
from pathlib import Path
from types import FrameType

from pmcore.supervisor.child import Child, Say, Surroundings
from pmcore.supervisor.programs import programs

READY_SECONDS = 120.0
ENDING_SECONDS = 10.0
NOW_AND_THEN_SECONDS = 10.0
_LOOK_EVERY = 0.1
_ENDING_SIGNALS = (signal.SIGINT, signal.SIGTERM, signal.SIGHUP)

Deed = Callable[[], None]


class NotAnswering(RuntimeError):
    """The web process did not answer in time."""


class _Signals:
    """How often somebody has asked for the end."""

    def __init__(self) -> None:
        self.count = 0

    def __call__(self, number: int, frame: FrameType | None) -> None:
        self.count += 1


def supervise(
    *, checkout: Path, data: Path, listener: socket.socket, ready: Deed, now_and_then: Deed, say: Say
) -> None:
    """Run the children until the first SIGINT, SIGTERM or SIGHUP; `ready` is called when the pages answer.

    The second signal does not wait for them. Afterwards nothing of them is left. Raises NotAnswering.
    """
    with _listening_to_signals() as asked, _tether() as pipe:
        around = Surroundings(checkout, _logs(data), pipe, _variables(data))
        children = [Child(each, around, say) for each in programs(listener.fileno(), str(around.logs))]
        try:
            _until_ready(children, listener.getsockname(), asked)
            if not asked.count:
                ready()
            _until_asked(children, asked, now_and_then)
        finally:
            say("Ending web, workers and scheduler. Ctrl-C again does not wait for them.")
            _end(children, asked)


def _until_ready(children: list[Child], address: tuple[str, int], asked: _Signals) -> None:
    give_up_at = time.monotonic() + READY_SECONDS
    while not asked.count:
        for child in children:
            child.look_after()
        if _answers(*address):
            return
        if time.monotonic() > give_up_at:
            raise NotAnswering(
                f"The pages do not answer at port {address[1]}. What the web process said: {children[0].log}"
            )
        time.sleep(_LOOK_EVERY)


def _until_asked(children: list[Child], asked: _Signals, now_and_then: Deed) -> None:
    next_time = time.monotonic()
    while not asked.count:
        for child in children:
            child.look_after()
        if time.monotonic() >= next_time:
            now_and_then()
            next_time = time.monotonic() + NOW_AND_THEN_SECONDS
        time.sleep(_LOOK_EVERY)


def _end(children: list[Child], asked: _Signals) -> None:
    for child in children:
        child.ask_to_end()
    give_up_at = time.monotonic() + ENDING_SECONDS
    while not all(child.has_ended() for child in children):
        if asked.count > 1 or time.monotonic() > give_up_at:
            break
        time.sleep(_LOOK_EVERY / 2)
    for child in children:
        child.end()


def _answers(host: str, port: int) -> bool:
    connection = http.client.HTTPConnection(host, port, timeout=1)
    try:
        connection.request("GET", "/healthz")
        return connection.getresponse().status < 500  # 400: it answers, but only to the names in PMCORE_HOSTS
    except (OSError, http.client.HTTPException):
        return False
    finally:
        connection.close()


@contextmanager
def _listening_to_signals() -> Iterator[_Signals]:
    asked = _Signals()
    before = {number: signal.signal(number, asked) for number in _ENDING_SIGNALS}
    try:
        yield asked
    finally:
        for number, handler in before.items():
            signal.signal(number, handler)


@contextmanager
def _tether() -> Iterator[int]:
    """The end of a pipe that children read. The other one is this process's alone, and closes however it ends."""
    reading, writing = os.pipe()
    try:
        yield reading
    finally:
        os.close(writing)
        os.close(reading)


def _logs(data: Path) -> Path:
    """The folder of what the children say; what they said before the last start is kept once."""
    folder = data / "logs"
    folder.mkdir(mode=0o700, exist_ok=True)
    for log in folder.glob("*.log"):
        log.replace(log.with_suffix(".log.before"))
    return folder


def _variables(data: Path) -> dict[str, str]:
    return {**os.environ, "PMCORE_DATA": str(data), "DJANGO_SETTINGS_MODULE": "pmcore.settings"}
