"""A mail server of the tests: it takes letters and keeps them, or is as difficult as one wants."""

import socket
from collections import Counter
from collections.abc import Iterator
from contextlib import contextmanager
from email import message_from_bytes, policy
from email.message import EmailMessage
from typing import Any

from aiosmtpd.controller import Controller


class Sink:
    """`refuses`: what it answers to a letter instead of taking it; `hangs_up`: it takes the letter and breaks off
    before it says so."""

    def __init__(self) -> None:
        self.letters: list[EmailMessage] = []
        self.refuses: str | None = None
        self.hangs_up = False

    async def handle_DATA(self, server: Any, session: Any, envelope: Any) -> str:  # noqa: N802 - its name there
        if self.refuses:
            return self.refuses
        letter = message_from_bytes(envelope.content, policy=policy.default)
        assert isinstance(letter, EmailMessage)
        self.letters.append(letter)
        if self.hangs_up:
            server.transport.close()
        return "250 OK"

    @property
    def by_id(self) -> Counter[str]:
        """How often each letter arrived."""
        return Counter(str(letter["Message-ID"]) for letter in self.letters)


def free_port() -> int:
    with socket.create_server(("127.0.0.1", 0)) as free:
        return int(free.getsockname()[1])


@contextmanager
def a_sink(port: int | None = None) -> Iterator[tuple[Sink, int]]:
    sink, port = Sink(), port or free_port()
    controller = Controller(sink, hostname="127.0.0.1", port=port)
    controller.start()
    try:
        yield sink, port
    finally:
        controller.stop()
