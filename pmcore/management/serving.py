"""What the commands that serve have in common: the port, the lock of the data folder, the supervisor."""

from argparse import ArgumentParser
from collections.abc import Callable, Iterator
from contextlib import contextmanager
from socket import socket

from django.conf import settings
from django.core.management.base import CommandError
from django.db import connections

from pmcore.supervisor import queue
from pmcore.supervisor.lock import AlreadyRunning, alone
from pmcore.supervisor.port import HOST, PortRefused, reserve
from pmcore.supervisor.run import NotAnswering, supervise

DEFAULT_PORT = 8000

Say = Callable[[str], None]


def add_port(parser: ArgumentParser) -> None:
    parser.add_argument("--port", type=int, default=DEFAULT_PORT, help=f"on {HOST} (default: {DEFAULT_PORT})")


@contextmanager
def reserved(port: int) -> Iterator[socket]:
    """The port, before any long work. Raises CommandError."""
    try:
        listener = reserve(port)
    except PortRefused as refused:
        raise CommandError(str(refused)) from None
    with listener:
        yield listener


@contextmanager
def data_folder_held() -> Iterator[None]:
    """Nobody else builds or serves on the data folder. Raises CommandError."""
    try:
        with alone(settings.DATA):
            yield
    except AlreadyRunning as running:
        raise CommandError(str(running)) from None


@contextmanager
def place_taken(port: int) -> Iterator[socket]:
    """The data folder and then the port, so that a second start hears that the first one runs, and not that its port is
    in use. Raises CommandError."""
    with data_folder_held(), reserved(port) as listener:
        yield listener


def address(port: int) -> str:
    return f"http://{HOST}:{port}/"


def serve(listener: socket, *, ready: Callable[[], None], now_and_then: Callable[[], None], say: Say) -> None:
    """Web, workers and scheduler until somebody asks for the end. Raises CommandError."""
    connections.close_all()  # from here on only the children ask the database
    if not settings.REDIS_URL:
        queue.prepare(settings.DATA / "queue")
    try:
        supervise(
            checkout=settings.BASE,
            data=settings.DATA,
            listener=listener,
            ready=ready,
            now_and_then=now_and_then,
            say=say,
        )
    except NotAnswering as silent:
        raise CommandError(str(silent)) from None
