"""Quillmere Health built and served for the journeys, as a stranger would start it, in a data folder and, on servers, a
database of its own."""

import os
import secrets
import socket
import subprocess
import sys
import time
import urllib.request
from collections.abc import Iterator
from contextlib import contextmanager
from dataclasses import dataclass
from pathlib import Path
from urllib.parse import urlsplit, urlunsplit

ROOT = Path(__file__).resolve().parents[2]
DEVICES = 650
ROLES = ("manager", "scheduler", "technician", "auditor", "clinical_lead", "provider", "administrator")
SITES = ("AG", "SP", "FL", "CR")
FIRST_MORNING = "2026-10-31T08:00:00+00:00"


@dataclass(frozen=True)
class Served:
    """`address` without a slash at its end; every account is called by its role and has the one password."""

    address: str
    password: str
    environment: dict[str, str]

    def run(self, *command: str, text: str | None = None) -> str:
        """A command of ours on the same record; what it printed."""
        done = subprocess.run(
            [sys.executable, "manage.py", *command], cwd=ROOT, env=self.environment, input=text, text=True,
            capture_output=True, check=True,
        )  # fmt: skip
        return done.stdout


@contextmanager
def served(folder: Path) -> Iterator[Served]:
    """Built, with an account for each role, and answering."""
    with _environment(folder) as environment:
        site = Served(f"http://127.0.0.1:{_free_port()}", secrets.token_urlsafe(12), environment)
        site.run("demo", "--no-serve", "--devices", str(DEVICES))
        _set_clock_back(folder)
        password = folder / "journeys-password"
        password.write_text(site.password)
        places = [part for label in SITES for part in ("--site", label)]
        for role in ROLES:
            who = ["create_account", f"a-{role}", "--name", f"The {role.replace('_', ' ')}", "--role", role]
            site.run(*who, *places, "--password-file", str(password))
        site.run("shell", "-c", "from pmcore.services.keep_standings import keep_standings; keep_standings()")
        with _web(site):
            yield site


@contextmanager
def _environment(folder: Path) -> Iterator[dict[str, str]]:
    environment = os.environ | {"PMCORE_DATA": str(folder)}
    if "DATABASE_URL" not in environment:
        yield environment
        return
    import psycopg

    parts = urlsplit(environment["DATABASE_URL"])
    name = f"test_{parts.path.strip('/')}_journeys_{os.getpid()}"
    with psycopg.connect(environment["DATABASE_URL"], autocommit=True) as connection:
        connection.execute(f'CREATE DATABASE "{name}"')
        try:
            yield environment | {"DATABASE_URL": urlunsplit(parts._replace(path=f"/{name}"))}
        finally:
            connection.execute(f'DROP DATABASE "{name}" WITH (FORCE)')


def _set_clock_back(folder: Path) -> None:
    import datetime as dt

    now = dt.datetime.now(dt.UTC)
    first = dt.datetime.fromisoformat(FIRST_MORNING)
    (folder / "demo-clock").write_text(str(int((first - now).total_seconds())))


@contextmanager
def _web(site: Served) -> Iterator[None]:
    port = site.address.rpartition(":")[2]
    command = ["-m", "gunicorn", "pmcore.wsgi", "--bind", f"127.0.0.1:{port}", "--threads", "4", "--no-control-socket"]
    with subprocess.Popen(
        [sys.executable, *command], cwd=ROOT, env=site.environment, stderr=subprocess.DEVNULL
    ) as process:
        try:
            _wait_for(f"{site.address}/healthz", process)
            yield
        finally:
            process.terminate()


def _wait_for(address: str, process: subprocess.Popen[bytes]) -> None:
    for _ in range(300):
        try:
            with urllib.request.urlopen(address, timeout=1):
                return
        except OSError:
            assert process.poll() is None, "the server ended before it answered"
            time.sleep(0.1)
    raise TimeoutError(f"{address} does not answer")


def _free_port() -> int:
    with socket.socket() as found:
        found.bind(("127.0.0.1", 0))
        port: int = found.getsockname()[1]
        return port
