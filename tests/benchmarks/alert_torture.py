"""Alerts under torture: is each made once, each letter sent, none lost?

    python -m tests.benchmarks.alert_torture
    python -m tests.benchmarks.alert_torture --kills 100 --letters 600 --flushes 20

Workers that make alerts and send letters to a mail server of our own are killed (-9) again and again while the queue is
emptied; every message is sent twice. On a database of its own, on the queue that REDIS_URL names (whose database is
emptied whole, unless `--own-keys` is said), else on the embedded one. Some workers are killed at the worst moment: when
the server has the letter and has not said so. The letter then comes again under its Message-ID, and its row says so.
"""

import argparse
import asyncio
import datetime as dt
import os
import random
import signal
import subprocess
import sys
import tempfile
import time
import uuid
from collections import Counter
from collections.abc import Iterator
from contextlib import contextmanager
from dataclasses import dataclass, field
from pathlib import Path
from typing import Any
from urllib.parse import urlsplit, urlunsplit

LEASE_SECONDS, WORKERS, PATIENCE_SECONDS = 2, 2, 1_200
SWEEPS = ("sweep_alerts", "follow_alerts", "sweep_mails")
DEVICES = 5
SWEEP_SECONDS = 4
KILLED_IN_THE_MAKING = 0.1  # of all kills, before any letter is there


@dataclass
class Sink:
    """A slow mail server: a worker is often in the middle of a letter. `kill_next`: it kills whoever is about to send,
    when it has the letter and before it says so."""

    seconds: float
    by_id: Counter[str] = field(default_factory=Counter)
    kill_next: bool = False
    killed_in_data: int = 0
    kill: Any = None

    async def handle_DATA(self, server: Any, session: Any, envelope: Any) -> str:  # noqa: N802 - its name there
        await asyncio.sleep(self.seconds)
        head = envelope.content.partition(b"\r\n\r\n")[0].decode()
        self.by_id[next(line for line in head.splitlines() if line.startswith("Message-ID:")).split(": ")[1]] += 1
        if self.kill_next:
            self.kill_next = False
            self.killed_in_data += self.kill(session.peer[1])
        return "250 OK"


class Workers:
    """As many as wanted, each forked from one process that is ready."""

    def __init__(self, environment: dict[str, str], log: Path) -> None:
        self.source = subprocess.Popen(
            [sys.executable, "-m", "tests.benchmarks.torture_worker"], env=environment, stdin=subprocess.PIPE,
            stdout=subprocess.PIPE, stderr=log.open("ab"), text=True,
        )  # fmt: skip
        self.alive: list[int] = []
        self._line()

    def fill(self) -> None:
        while len(self.alive) < WORKERS:
            assert self.source.stdin is not None
            self.source.stdin.write("one more\n")
            self.source.stdin.flush()
            self.alive.append(int(self._line()))

    def kill(self, worker: int) -> None:
        os.kill(worker, signal.SIGKILL)
        self.alive.remove(worker)

    def kill_whoever_speaks_from(self, port: int) -> bool:
        """The worker whose end of the conversation has this port."""
        speaking = next((worker for worker in list(self.alive) if port in _ports_of(worker)), None)
        if speaking is not None:
            self.kill(speaking)
        return speaking is not None

    def end(self) -> None:
        for worker in list(self.alive):
            self.kill(worker)
        self.source.kill()
        self.source.wait()

    def _line(self) -> str:
        assert self.source.stdout is not None
        line = self.source.stdout.readline()
        assert line, "the workers' source has ended"
        return line


def _ports_of(process: int) -> set[int]:
    """Local ports of a process's connections."""
    try:
        sockets = {str(each.readlink()) for each in Path(f"/proc/{process}/fd").iterdir()}
        lines = Path(f"/proc/{process}/net/tcp").read_text().splitlines()[1:]
    except OSError:
        return set()
    columns = (line.split() for line in lines)
    return {int(each[1].rpartition(":")[2], 16) for each in columns if f"socket:[{each[9]}]" in sockets}


@contextmanager
def installation(folder: Path) -> Iterator[None]:
    """Settings of a data folder and a database of its own; on PostgreSQL one beside the configured one."""
    os.environ.update(
        PMCORE_DATA=str(folder / "data"), DJANGO_SETTINGS_MODULE="tests.worker_settings",
        PMCORE_TEST_PREFIX=f"torture-{uuid.uuid4()}-", TORTURE_LEASE_SECONDS=str(LEASE_SECONDS),
    )  # fmt: skip
    url = os.environ.get("DATABASE_URL")
    if not url:
        yield
        return
    import psycopg

    name = f"pmcore_torture_{os.getpid()}"
    with psycopg.connect(url, autocommit=True) as connection:
        connection.execute(f'CREATE DATABASE "{name}"')
    os.environ["DATABASE_URL"] = urlunsplit(urlsplit(url)._replace(path=f"/{name}"))
    try:
        yield
    finally:
        with psycopg.connect(url, autocommit=True) as connection:
            connection.execute(f'DROP DATABASE "{name}" WITH (FORCE)')


def make_ward(letters: int) -> None:
    """So many technicians at a site where windows have closed; the clock of every process stands on the day after."""
    from django.conf import settings
    from django.core.management import call_command

    call_command("migrate", verbosity=0)
    from pmcore import clock
    from pmcore.engines.records import SYSTEM
    from pmcore.engines.vocabulary import AlertKind, Role
    from pmcore.services.people import give_role, register_person
    from tests.alert_cast import CLOSES, FIRST, a_ward
    from tests.story import moment

    ward = a_ward(DEVICES)
    by: dict[str, Any] = {"actor": SYSTEM, "at": moment(FIRST)}
    for person in (ward.work.ruan.person, ward.work.saskia.person):
        give_role(person=person or 0, role=Role.AUDITOR, from_on=FIRST, **by)
    for number in range(letters):
        register_person(
            name=f"Technician {number}", role=Role.TECHNICIAN, sites=ward.work.story.sites[:1], from_on=FIRST,
            email=f"technician-{number}@quillmere.example", **by,
        )  # fmt: skip
    ward.rule(AlertKind.OVERDUE, (1, Role.TECHNICIAN), at_once=True)
    clock.go_on_from(moment(CLOSES + dt.timedelta(days=1)), settings.CLOCK_FILE)


class Queue:
    """Sends what the scheduler would send, everything twice, and loses it all on request."""

    def __init__(self, folder: Path, *, own_keys: bool) -> None:
        from pmcore.celery import app

        self.app, self.folder, self.own_keys, self.sent = app, folder / "data" / "queue" / "messages", own_keys, 0

    def sweep(self) -> None:
        for task in SWEEPS:
            for _ in range(2):
                self.app.send_task(f"pmcore.tasks.{task}", queue="sweep")
                self.sent += 1

    def flush(self) -> None:
        if not (url := os.environ.get("REDIS_URL")):
            for message in self.folder.iterdir():
                message.unlink(missing_ok=True)
            return
        import redis

        with redis.Redis.from_url(url) as client:
            if not self.own_keys:
                client.flushdb()
            elif keys := client.keys(f"{os.environ['PMCORE_TEST_PREFIX']}*"):
                client.delete(*keys)


def unsent() -> int | None:
    """How many letters wait; None: none was made yet."""
    from pmcore.models import Mail

    states = list(Mail.objects.values_list("state", flat=True))
    return sum(state != "sent" for state in states) if states else None


def torture(workers: Workers, queue: Queue, sink: Sink, asked: argparse.Namespace) -> tuple[int, int]:
    """Kill and flush until it was done as often as asked, then let the rest be finished; how often each was done."""
    chance = random.Random(asked.seed)
    kills = flushes = 0
    next_sweep_at = 0.0
    give_up_at = time.monotonic() + PATIENCE_SECONDS + 4 * asked.kills
    while (left := unsent()) != 0 or kills + sink.killed_in_data < asked.kills:
        assert time.monotonic() < give_up_at, f"{left} letters are still not sent"
        workers.fill()
        if time.monotonic() >= next_sweep_at:
            queue.sweep()
            next_sweep_at = time.monotonic() + SWEEP_SECONDS
        time.sleep(chance.uniform(0.2, 1.0))
        done = kills + sink.killed_in_data
        if done >= asked.kills or (left is None and done >= asked.kills * KILLED_IN_THE_MAKING):
            continue
        if done % 10 == 4 and left:
            sink.kill_next = True
        elif workers.alive:
            workers.kill(chance.choice(workers.alive))
            kills += 1
        if flushes * asked.kills < done * asked.flushes:
            queue.flush()
            flushes += 1
    return kills, flushes


def table(sink: Sink, queue: Queue, kills: int, flushes: int, seconds: float) -> dict[str, int | str]:
    from pmcore.models import Alert, Delivery, Mail

    marked = set(Mail.objects.filter(perhaps_twice=True).values_list("message_id", flat=True))
    wanted = set(Mail.objects.values_list("message_id", flat=True))
    twice = {name for name, times in sink.by_id.items() if times > 1}
    return {
        "seconds": f"{seconds:.0f}",
        "workers killed": kills + sink.killed_in_data,
        "of these, when the server had the letter": sink.killed_in_data,
        "queue emptied": flushes,
        "sweeps sent": queue.sent,
        "alerts wanted": DEVICES,
        "alerts made": Alert.objects.count(),
        "deliveries in the application": Delivery.objects.filter(channel="in_app").count(),
        "deliveries by letter": Delivery.objects.filter(channel="mail").count(),
        "letters": len(wanted),
        "letters that arrived": len(wanted & sink.by_id.keys()),
        "letters lost": len(wanted - sink.by_id.keys()),
        "letters that nobody wrote": len(sink.by_id.keys() - wanted),
        "arrived twice or more": len(twice),
        "copies beyond the first": sum(sink.by_id.values()) - len(sink.by_id),
        "rows that say perhaps twice": len(marked),
        "twice, and the row does not say so": len(twice - marked),
    }


def check(found: dict[str, int | str], letters: int) -> list[str]:
    """What is not as it must be."""
    must = {
        "alerts made": DEVICES, "deliveries in the application": DEVICES * letters,
        "deliveries by letter": DEVICES * letters, "letters": letters, "letters that arrived": letters,
        "letters lost": 0, "letters that nobody wrote": 0, "twice, and the row does not say so": 0,
    }  # fmt: skip
    wrong = [f"{name}: {found[name]}, not {number}" for name, number in must.items() if found[name] != number]
    twice, in_data = found["arrived twice or more"], found["of these, when the server had the letter"]
    return wrong if twice == 0 or in_data else [*wrong, f"{twice} arrived twice"]


def main() -> int:
    parser = argparse.ArgumentParser(description=__doc__, formatter_class=argparse.RawDescriptionHelpFormatter)
    parser.add_argument("--kills", type=int, default=100)
    parser.add_argument("--letters", type=int, default=600)
    parser.add_argument("--flushes", type=int, default=20)
    parser.add_argument("--pause", type=float, default=0.1, help="seconds that the mail server thinks about a letter")
    parser.add_argument("--seed", type=int, default=1)
    parser.add_argument("--own-keys", action="store_true", help="empty only what this run put into Redis")
    asked = parser.parse_args()
    with tempfile.TemporaryDirectory() as kept, installation(Path(kept)):
        return run(Path(kept), asked)


def run(folder: Path, asked: argparse.Namespace) -> int:
    from aiosmtpd.controller import Controller

    from tests.sink import free_port

    port, sink = free_port(), Sink(asked.pause)
    os.environ["EMAIL_URL"] = f"smtp://127.0.0.1:{port}"
    import django

    django.setup()
    from django.db import connections

    make_ward(asked.letters)
    controller = Controller(sink, hostname="127.0.0.1", port=port)
    controller.start()
    workers = Workers(dict(os.environ), folder / "workers.log")
    sink.kill, began = workers.kill_whoever_speaks_from, time.monotonic()
    queue = Queue(folder, own_keys=asked.own_keys)
    try:
        kills, flushes = torture(workers, queue, sink, asked)
        found = table(sink, queue, kills, flushes, time.monotonic() - began)
    finally:
        workers.end()
        controller.stop()
        connections.close_all()
    for name, value in found.items():
        print(f"{name:<45}{value:>8}")
    wrong = check(found, asked.letters)
    print("\n".join(wrong) or "Each alert was made once, and no letter was lost.")
    return 1 if wrong else 0


if __name__ == "__main__":
    sys.exit(main())
