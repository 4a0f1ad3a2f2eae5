"""A real worker, on the queue of this installation: it does a job, and what a killed one held is taken again."""

import os
import subprocess
import sys
import time
import uuid
from collections.abc import Callable, Iterator
from pathlib import Path

import pytest
import redis

pytestmark = pytest.mark.skipif(not hasattr(os, "fork"), reason="workers need POSIX processes")

CHECKOUT = Path(__file__).resolve().parent.parent
PATIENCE = 120.0
WORKER = ["worker", "-P", "solo", "-Q", "long,sweep", "--without-gossip", "--without-mingle", "-l", "WARNING"]


class Installation:
    """A data folder and database of its own, with commands and workers run in it as separate processes."""

    def __init__(self, environment: dict[str, str]) -> None:
        self.environment = {**os.environ, **environment, "PYTHONPATH": str(CHECKOUT)}
        self.workers: list[subprocess.Popen[bytes]] = []

    def run(self, code: str) -> str:
        prelude = "import django; django.setup()\n"
        command = [sys.executable, "-c", prelude + code]
        done = subprocess.run(command, env=self._environment(), capture_output=True, text=True, check=False)
        assert done.returncode == 0, done.stderr
        return done.stdout.strip()

    def migrate(self) -> None:
        self.run("from django.core.management import call_command; call_command('migrate', verbosity=0)")

    def worker(self) -> "subprocess.Popen[bytes]":
        """A worker of both queues, as an installation starts it."""
        return self._start("-m", "celery", "-A", "pmcore", *WORKER)

    def stuck_worker(self, lease_seconds: float) -> "subprocess.Popen[bytes]":
        """A worker that stops for ever when it has taken a job."""
        code = f"""
import time
import django; django.setup()
from pmcore import tasks
from pmcore.celery import app
tasks.LEASE_SECONDS = {lease_seconds}
tasks.HANDLERS["verify_record"] = lambda arguments, say: time.sleep(600)
app.worker_main({WORKER})
"""
        return self._start("-c", code)

    def _start(self, *arguments: str) -> "subprocess.Popen[bytes]":
        with self._log().open("ab") as log:
            started = subprocess.Popen([sys.executable, *arguments], env=self._environment(), stdout=log, stderr=log)
        self.workers.append(started)
        return started

    def _log(self) -> Path:
        return Path(self.environment["PMCORE_DATA"], "worker.log")

    def said(self) -> str:
        return self._log().read_text()

    def _environment(self) -> dict[str, str]:
        return {**self.environment, "DJANGO_SETTINGS_MODULE": "tests.worker_settings"}

    def state(self) -> str:
        return self.run("from pmcore.models import Job; job = Job.objects.get(); print(job.state, job.attempts)")

    def wait_for(self, wanted: str, *, meanwhile: str = "") -> None:
        deadline = time.monotonic() + PATIENCE
        while (state := self.state()) != wanted:
            assert time.monotonic() < deadline, f"the job stays {state}\n{self.said()[-2000:]}"
            if meanwhile:
                self.run(meanwhile)
            time.sleep(0.3)

    def stop(self) -> None:
        for worker in self.workers:
            if worker.poll() is None:
                worker.kill()
            worker.wait()


@pytest.fixture
def installation(tmp_path: Path, own_database: Callable[[], str | None], own_prefix: str) -> Iterator[Installation]:
    environment = {"PMCORE_DATA": str(tmp_path), "PMCORE_TEST_PREFIX": own_prefix}
    if url := own_database():
        environment["DATABASE_URL"] = url
    made = Installation(environment)
    made.migrate()
    yield made
    made.stop()


@pytest.fixture
def own_prefix() -> Iterator[str]:
    """What the keys in Redis begin with; they are deleted at the end."""
    prefix = f"test-{uuid.uuid4()}-"
    yield prefix
    if url := os.environ.get("REDIS_URL"):
        with redis.Redis.from_url(url) as client:
            client.delete(prefix, *client.keys(f"{prefix}*"))


@pytest.fixture
def own_database() -> Iterator[Callable[[], str | None]]:
    """On PostgreSQL a database beside the configured one, dropped at the end; on SQLite none is needed."""
    from urllib.parse import urlsplit, urlunsplit

    url = os.environ.get("DATABASE_URL")
    if not url:
        yield lambda: None
        return
    import psycopg

    name = f"pmcore_worker_{os.getpid()}"
    with psycopg.connect(url, autocommit=True) as connection:
        connection.execute(f'CREATE DATABASE "{name}"')
    parts = urlsplit(url)
    yield lambda: urlunsplit(parts._replace(path=f"/{name}"))
    with psycopg.connect(url, autocommit=True) as connection:
        connection.execute(f'DROP DATABASE "{name}" WITH (FORCE)')


ASK = """
import datetime as dt
from pmcore.engines.records import SYSTEM
from pmcore.services import jobs
at = dt.datetime.now(dt.UTC)
jobs.ask(kind="verify_record", unique_key="test", arguments={}, actor=SYSTEM, at=at)
"""
SWEEP = "from pmcore.tasks import sweep_jobs; sweep_jobs()"


def test_a_worker_does_the_job_that_it_was_woken_for(installation: Installation) -> None:
    installation.worker()
    installation.run(ASK)
    installation.wait_for("done 1")
    answer = installation.run("from pmcore.models import Job; print(Job.objects.get().answer['sound'])")
    assert answer == "True"


def test_the_job_of_a_killed_worker_is_taken_again(installation: Installation) -> None:
    doomed = installation.stuck_worker(lease_seconds=2)
    installation.run(ASK)
    installation.wait_for("running 1")
    doomed.kill()
    doomed.wait()
    assert installation.state() == "running 1"
    installation.worker()
    installation.wait_for("done 2", meanwhile=SWEEP)


def test_a_worker_does_not_start_where_the_guards_are_down(installation: Installation) -> None:
    installation.run("from django.db import connection; from pmcore.models import guards; guards.take_down(connection)")
    worker = installation.worker()
    assert worker.wait(timeout=PATIENCE) != 0
    assert "not guarded" in installation.said()
