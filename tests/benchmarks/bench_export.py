"""How long an export takes, from being asked for over HTTP until its last byte has come, beside a bare COPY of the same
rows in the same run. One command prints the table:

    DATABASE_URL=postgres://… python -m tests.benchmarks.bench_export --entries 1000000   (in a database beside it)
    python -m tests.benchmarks.bench_export --entries 100000                              (SQLite; without a COPY)

The history is made of entries of one row each. A gunicorn of one process serves; a worker of its own builds the files,
as in production. So three things are timed apart: the rendering, which a sweep does as the history grows, the building,
which happens once for an export, and the download of what was built. The first export finds nothing rendered. Memory is
the highest that each process ever had, above what it had before. The verification is a run of `verify_export.py` by a
Python of its own.
"""

import argparse
import json
import os
import socket
import subprocess
import sys
import tempfile
import time
import urllib.request
import zipfile
from collections.abc import Callable, Iterator
from contextlib import contextmanager
from pathlib import Path
from typing import Any
from urllib.parse import urlsplit, urlunsplit

from tests.benchmarks.record import AT, Line, _due_days, _world

_PER_DEVICE = 100
_CHUNK = 2**20
_BODY_COLUMNS = "seq, at, kind, subject, person, role, note_id"
_WORKER = """
import os, sys, time
os.environ.setdefault("DJANGO_SETTINGS_MODULE", "pmcore.settings")
import django
django.setup()
from pmcore import tasks
def peak():
    [line] = [line for line in open("/proc/self/status") if line.startswith("VmHWM")]
    return int(line.split()[1]) / 1024
before = peak()
began = time.perf_counter()
tasks.run_job(int(sys.argv[1]))
print(time.perf_counter() - began, peak() - before)
"""


@contextmanager
def database() -> Iterator[None]:
    """An empty one of our own, named in the environment, so that other processes find it too."""
    with tempfile.TemporaryDirectory(prefix="bench-export-") as data:
        os.environ["PMCORE_DATA"] = data
        os.environ["DJANGO_SETTINGS_MODULE"] = "pmcore.settings"
        beside = os.environ.get("DATABASE_URL")
        if beside is None:
            yield
            return
        import psycopg

        name = f"bench_export_{os.getpid()}"
        with psycopg.connect(beside, autocommit=True) as server:
            server.execute(f'CREATE DATABASE "{name}"')
        os.environ["DATABASE_URL"] = urlunsplit(urlsplit(beside)._replace(path=f"/{name}"))
        try:
            yield
        finally:
            from django.db import connections

            connections.close_all()
            with psycopg.connect(beside, autocommit=True) as server:
                server.execute(f'DROP DATABASE "{name}" WITH (FORCE)')


def history(entries: int) -> None:
    from django.core.management import call_command

    call_command("migrate", verbosity=0)
    from pmcore.engines.records import SYSTEM
    from pmcore.models import DueInspection
    from pmcore.models.rows import Row
    from pmcore.services.append import Draft, append_in_batches

    devices, plan, procedure = _world(-(-entries // _PER_DEVICE))
    days = _due_days(1)

    def drafts() -> Iterator[Draft]:
        for number in range(entries):
            due, opens, closes = days[number % len(days)]
            device = devices[number % len(devices)]
            row = Row(
                DueInspection,
                device=device,
                plan=plan,
                procedure=procedure,
                due_on=due,
                opens_on=opens,
                closes_on=closes,
            )
            yield Draft("inspections_due", device, [row])

    for _ in append_in_batches(drafts(), actor=SYSTEM, at=AT):
        pass


def token() -> str:
    import datetime as dt

    from pmcore.engines.records import SYSTEM
    from pmcore.engines.vocabulary import Role
    from pmcore.services.accounts import create_account
    from pmcore.services.tokens import create_token

    options: Any = {"actor": SYSTEM, "at": AT, "on": dt.date(2026, 1, 1), "site_labels": []}
    create_account(username="ines", password="a-long-password-1", name="Ines Kaldervik", role=Role.AUDITOR, **options)
    return create_token(username="ines", label="benchmark", actor=SYSTEM, at=AT).raw


@contextmanager
def served() -> Iterator[tuple[str, int]]:
    """The address of a gunicorn, and the process of its only worker."""
    with socket.socket() as free:
        free.bind(("127.0.0.1", 0))
        port = free.getsockname()[1]
    command = [
        sys.executable,
        "-m",
        "gunicorn",
        "pmcore.wsgi:application",
        "--bind",
        f"127.0.0.1:{port}",
        "--timeout",
        "600",
    ]
    process = subprocess.Popen(command, stderr=subprocess.DEVNULL)
    try:
        for _ in range(300):
            time.sleep(0.1)
            try:
                with urllib.request.urlopen(f"http://127.0.0.1:{port}/healthz"):
                    break
            except OSError:
                continue
        children = Path(f"/proc/{process.pid}/task/{process.pid}/children").read_text().split()
        yield f"http://127.0.0.1:{port}/api/v1/history-exports/", int(children[0])
    finally:
        process.terminate()
        process.wait()


def peak(process: int) -> float:
    """The most memory that it ever had, in MiB."""
    [line] = [line for line in Path(f"/proc/{process}/status").read_text().splitlines() if line.startswith("VmHWM")]
    return int(line.split()[1]) / 1024


def fetched(address: str, headers: dict[str, str], to: Path) -> tuple[float, int]:
    """Seconds from asking to the last byte, and how many bytes came. `to`: /dev/null where they are dropped, as those
    of the COPY are."""
    began, size = time.perf_counter(), 0
    with urllib.request.urlopen(urllib.request.Request(address, headers=headers)) as answer, to.open("wb") as file:
        while chunk := answer.read(_CHUNK):
            size += file.write(chunk)
    return time.perf_counter() - began, size


def copied() -> float | None:
    """Seconds of a bare COPY, as CSV, of the columns of entries that bodies show, and of all rows, best of three; None
    on SQLite."""
    from django.db import connection

    return min(_copied() for _ in range(3)) if connection.vendor == "postgresql" else None


def _copied() -> float:
    from django.db import connection

    from pmcore.models.kinds import RECORDED

    sources = [f"(SELECT {_BODY_COLUMNS} FROM pmcore_entry)", *(model._meta.db_table for model in RECORDED)]
    began = time.perf_counter()
    with connection.cursor() as cursor:
        for source in sources:
            with cursor.copy(f"COPY {source} TO STDOUT (FORMAT csv)") as lines:
                for _ in lines:
                    pass
    return time.perf_counter() - began


def export(address: str, headers: dict[str, str]) -> tuple[dict[str, Any], float, float]:
    """What is answered when it is done, the seconds that the worker took, and how much memory more, in MiB."""
    os.sync()  # so that nothing of what was written before is still on its way to the disk
    sent = {**headers, "Content-Type": "application/json"}
    with urllib.request.urlopen(urllib.request.Request(address, data=b"{}", headers=sent)) as answer:
        asked = json.load(answer)
    ran = subprocess.run([sys.executable, "-c", _WORKER, str(asked["id"])], capture_output=True, text=True, check=True)
    seconds, memory = map(float, ran.stdout.split())
    with urllib.request.urlopen(urllib.request.Request(asked["url"], headers=headers)) as answer:
        done = json.load(answer)
    assert done["state"] == "done", done
    return done, seconds, memory


def exported(address: str, headers: dict[str, str]) -> tuple[dict[str, Any], float, float, float]:
    """Three of them, each of an entry more: what the last one answers, the fewest seconds, the most memory, and the
    most seconds."""
    made = [export(address, headers) for _ in range(3)]
    seconds = [each[1] for each in made]
    return made[-1][0], min(seconds), max(each[2] for each in made), max(seconds)


def verified(pack: Path, folder: Path) -> float:
    """Seconds that a verification takes."""
    with zipfile.ZipFile(pack) as packed:
        packed.extractall(folder)
    began = time.perf_counter()
    ran = subprocess.run([sys.executable, str(folder / "verify_export.py")], capture_output=True, text=True)
    taken = time.perf_counter() - began
    assert ran.returncode == 0, ran.stdout
    return taken


def rendered() -> float:
    """Seconds to render whatever no file is there for."""
    from pmcore.services.keep_rendered import keep_rendered

    began = time.perf_counter()
    keep_rendered(most=sys.maxsize)
    return time.perf_counter() - began


def measure(entries: int, folder: Path, say: Callable[[Line], None]) -> None:
    import django

    django.setup()
    history(entries)
    headers = {"Authorization": f"Token {token()}"}
    with served() as (address, server):
        bare = copied()
        peer = "" if bare is None else "COPY … TO STDOUT of the same rows"

        def timed(what: str, seconds: float) -> None:
            say(Line(what, seconds, "s", peer, None if bare is None else seconds / bare))

        if bare is not None:
            say(Line("COPY of the same rows, best of three", bare, "s"))
        _, anew, _ = export(address, headers)
        timed("building all files where nothing was rendered before", anew)
        keeping = rendered()
        say(Line("rendering as the history grows", 1e6 * keeping / entries, "us/entry"))
        done, building, memory, slowest = exported(address, headers)
        timed(f"building all files of {done['entries']:,} entries, best of three", building)
        timed("the same, slowest of three", slowest)
        before = peak(server)
        for name in ("ndjson", "csv", "pack"):
            seconds, size = fetched(done["files"][name], headers, Path(os.devnull))
            timed(f"download of {name}, {size / 1e6:,.0f} MB", seconds)
            timed(f"building and download of {name}", building + seconds)
        say(Line("memory of the server that the downloads added", peak(server) - before, "MiB"))
        say(Line("memory of the worker that the building added", memory, "MiB"))
        fetched(done["files"]["pack"], headers, folder / "pack")
    seconds = verified(folder / "pack", folder / "unpacked")
    say(Line("verification on one core", seconds, "s", f"{done['entries'] / seconds:,.0f} entries/s"))


def main() -> None:
    parser = argparse.ArgumentParser(description=__doc__, formatter_class=argparse.RawDescriptionHelpFormatter)
    parser.add_argument("--entries", type=int, default=1_000_000)
    asked = parser.parse_args()
    with database(), tempfile.TemporaryDirectory(prefix="bench-export-") as folder:
        measure(asked.entries, Path(folder), lambda line: print(line, flush=True))


if __name__ == "__main__":
    main()
