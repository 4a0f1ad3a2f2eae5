"""Real queues for a test to fill and to look into, and dead ones. Each takes a folder that it may use."""

import os
import shutil
import socket
import uuid
from collections.abc import Iterator
from contextlib import contextmanager
from pathlib import Path
from queue import Empty
from typing import Any

import redis
from celery import Celery
from django.conf import settings

from pmcore import filequeue
from pmcore.celery import app as ours

Message = tuple[str, list[Any]]


class Queue:
    """The settings of this installation on a queue of the test's own."""

    def __init__(self, url: str, **options: Any) -> None:
        self.app = Celery("tests", fixups=[], set_as_current=False)
        self.app.config_from_object("django.conf:settings", namespace="CELERY")
        self.app.conf.update(broker_url=url, broker_transport_options=options)

    def messages(self, name: str = "long") -> list[Message]:
        """Take what waits in the queue: names of tasks and their arguments."""
        found: list[Message] = []
        with self.app.connection_for_read() as connection:
            simple = connection.SimpleQueue(self.app.amqp.queues[name])
            while True:
                try:
                    message = simple.get(block=False)
                except Empty:
                    return found
                message.ack()
                found.append((message.headers["task"], message.payload[0]))


@contextmanager
def in_use(url: str, **options: Any) -> Iterator[Queue]:
    """What is woken meanwhile, in this thread, goes to this queue."""
    queue = Queue(url, **options)
    queue.app.set_current()
    try:
        yield queue
    finally:
        ours.set_current()
        queue.app.close()


@contextmanager
def of_files(folder: Path) -> Iterator[Queue]:
    with in_use(f"{filequeue.NAME}://localhost", **filequeue.transport_options(folder)) as queue:
        yield queue


@contextmanager
def of_redis(_: Path) -> Iterator[Queue]:
    """Beside whatever else the database of the tests holds."""
    url, prefix = os.environ["REDIS_URL"], f"test-{uuid.uuid4()}-"
    with in_use(url, **settings.REDIS_OPTIONS, global_keyprefix=prefix) as queue:
        yield queue
    with redis.Redis.from_url(url) as client:
        client.delete(*client.keys(f"{prefix}*"), prefix)


@contextmanager
def of_removed_files(folder: Path) -> Iterator[Queue]:
    with of_files(folder) as queue:
        shutil.rmtree(folder)
        yield queue


@contextmanager
def of_files_in_the_way(folder: Path) -> Iterator[Queue]:
    """A file stands where the folder of messages was."""
    with of_files(folder) as queue:
        (folder / "messages").rmdir()
        (folder / "messages").write_text("")
        yield queue


@contextmanager
def of_no_redis(_: Path) -> Iterator[Queue]:
    """At a port where nobody listens."""
    with socket.create_server(("127.0.0.1", 0)) as closed:
        port = closed.getsockname()[1]
    with in_use(f"redis://127.0.0.1:{port}/0", **settings.REDIS_OPTIONS) as queue:
        yield queue


@contextmanager
def of_silent_redis(_: Path) -> Iterator[Queue]:
    """At a port that takes the connection and never says a word."""
    with (
        socket.create_server(("127.0.0.1", 0)) as silent,
        in_use(f"redis://127.0.0.1:{silent.getsockname()[1]}/0", **settings.REDIS_OPTIONS) as queue,
    ):
        yield queue
