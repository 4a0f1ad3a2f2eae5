"""A demonstration of one's own for a journey that takes days: it is stopped, and served again on a later one, and its
letters go to a mail server of the tests."""

import datetime as dt
import json
import os
import re
import subprocess
import sys
import urllib.request
from collections import Counter
from collections.abc import Iterator, Sequence
from contextlib import contextmanager
from dataclasses import dataclass, field
from email.message import EmailMessage
from pathlib import Path
from typing import Any

from playwright.sync_api import Browser

from tests.demonstrations import PATIENCE_SECONDS, Served, environment, wait_until
from tests.house.checkout import ROOT
from tests.journeys.hands import heading
from tests.journeys.quillmere import Built, copied
from tests.journeys.signing_in import PageAs, signing_in
from tests.sink import Sink, a_sink

PAGES = "https://pm.quillmere.example"
"""Where letters say that the pages are."""


@dataclass
class Circle:
    """`more`: variables beside those of the embedded default; `sink`: where its letters arrive."""

    folder: Path
    more: dict[str, str]
    sink: Sink
    browser: Browser
    site: Served = field(init=False)
    page_as: PageAs = field(init=False)

    @contextmanager
    def served(self, moment: dt.datetime | None = None) -> Iterator[None]:
        """Its clock goes on from the moment, if one is said, else from where it was. Stopped in order, so that no
        letter breaks off; and whatever goes wrong, nothing of it is left."""
        if moment is not None:
            (self.folder / "demo-moment").write_text(f"{moment.isoformat()}\n", encoding="ascii")
        self.site = Served(self.folder, more=self.more)
        try:
            with signing_in(self.site, self.browser) as self.page_as:
                yield
            self.site.end()
        finally:
            if self.site.process.poll() is None:
                self.site.end_at_once()

    def sweep(self, *names: str) -> None:
        """Asked for in the queue sooner than the scheduler would; the site's own worker does it, in this order."""
        sent = "; ".join(f"app.send_task('pmcore.tasks.{name}', queue='sweep')" for name in names)
        self._run("-c", f"from pmcore.celery import app; {sent}")

    def manage(self, *arguments: str) -> str:
        return self._run("manage.py", *arguments)

    def _run(self, *arguments: str) -> str:
        ran = subprocess.run(
            [sys.executable, *arguments], cwd=ROOT, env=environment(self.folder) | self.more, capture_output=True,
            text=True, timeout=PATIENCE_SECONDS,
        )  # fmt: skip
        assert ran.returncode == 0, ran.stderr
        return ran.stdout.strip()

    def ask(self, address: str, *, token: str | None = None, body: Any = None) -> Any:
        """What the interface answers, to the auditor where no other token is given; POST where there is a body."""
        return json.loads(self.fetch(f"http://127.0.0.1:{self.site.port}/api/v1/{address}", token=token, body=body))

    def fetch(self, url: str, *, token: str | None = None, body: Any = None) -> bytes:
        headers = {"Authorization": f"Token {token or self.site.token}", "Content-Type": "application/json"}
        data = None if body is None else json.dumps(body).encode()
        with urllib.request.urlopen(urllib.request.Request(url, data, headers), timeout=PATIENCE_SECONDS) as answer:
            return bytes(answer.read())

    def wait_until_all_letters_are_sent(self, least: int) -> None:
        """By the administrator's page, and at least so many have arrived."""
        page = self.page_as("administrator")

        def sent() -> bool:
            page.goto("/alerts/letters/")
            return len(self.sink.letters) >= least and heading(page) == "No letter waits to be sent."

        assert wait_until(sent), f"{len(self.sink.letters)} letters arrived; the page says: {heading(page)}"


@contextmanager
def a_circle(quillmere: Built, folder: Path, browser: Browser) -> Iterator[Circle]:
    """Embedded, or where the tests run on servers on a database of its own there, and on their Redis."""
    with a_sink() as (sink, port), copied(quillmere, folder, "circle") as more:
        queue = {"REDIS_URL": os.environ["REDIS_URL"]} if more and os.environ.get("REDIS_URL") else {}
        more |= {**queue, "EMAIL_URL": f"smtp://127.0.0.1:{port}", "PMCORE_ADDRESS": PAGES}
        yield Circle(folder, more, sink, browser)


def told_of(tag: str, letters: Sequence[EmailMessage]) -> list[tuple[str, str]]:
    """To whom, and in which sentence, letters tell of a device; each says where one answers."""
    found = []
    for letter in letters:
        body = letter.get_body(("plain",))
        assert body is not None
        assert f"{PAGES}/alerts/" in body.get_content().split()
        said = re.findall(rf"^- {tag}\b.*\n  ([^\r\n]+)", body.get_content(), re.MULTILINE)
        found += [(str(letter["To"]), sentence) for sentence in said]
    return sorted(found)


def arrived_twice(letters: Sequence[EmailMessage]) -> list[str]:
    return [each for each, count in Counter(str(letter["Message-ID"]) for letter in letters).items() if count > 1]


def verdict(folder: Path) -> tuple[int, str]:
    """Of the pack that lies there, by Python's own library alone and with nothing of this machine's environment."""
    command = [sys.executable, "-I", "-S", "verify_export.py"]
    ran = subprocess.run(command, cwd=folder, env={}, capture_output=True, text=True, timeout=PATIENCE_SECONDS)
    assert ran.stdout, ran.stderr
    return ran.returncode, ran.stdout.splitlines()[-1]
