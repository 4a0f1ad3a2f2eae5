"""The demonstration as it is served: it answers, comes back, ends with nothing left, and goes on where it was."""

import datetime as dt
import os
import shutil
import signal
import sqlite3
from collections.abc import Iterator
from pathlib import Path

import pytest

from tests.demonstrations import Served, free_port, manage, processes_on, wait_until

pytestmark = pytest.mark.skipif(not Path("/proc/self/environ").exists(), reason="looks for processes in /proc")

ROLES = ("manager", "scheduler", "technician", "auditor", "clinical", "provider", "administrator")


@pytest.fixture(scope="module")
def built(tmp_path_factory: pytest.TempPathFactory) -> Iterator[Served]:
    """Built and served by one start; it serves as long as the tests of this file run."""
    served = Served(tmp_path_factory.mktemp("built"), "--devices", "60")
    yield served
    served.end_at_once()


@pytest.fixture
def folder(built: Served, tmp_path: Path) -> Path:
    """A copy of what was built, to be ended and started at will."""
    copy = tmp_path / "data"
    made = manage(built.folder, "shell", "-v", "0", "-c", _COPY.format(copy=tmp_path / "copy.sqlite3"))
    assert made.returncode == 0, made.stderr
    left_out = shutil.ignore_patterns("queue", "logs", "*.sqlite3*", "*.lock")
    shutil.copytree(built.folder, copy, ignore=left_out)
    shutil.move(tmp_path / "copy.sqlite3", copy / "pmcore.sqlite3")
    return copy


_COPY = "from django.db import connection; connection.cursor().execute(\"VACUUM INTO '{copy}'\")"


def start(folder: Path) -> Served:
    return Served(folder, "--devices", "60")


def test_health_and_the_sign_in_page_answer(built: Served) -> None:
    assert built.status("/healthz") == 200
    assert built.status("/accounts/login/") == 200
    assert built.status("/static/dashboards/pmcore.css") == 200


def test_every_role_has_an_account_that_signs_in_with_the_printed_password(built: Served) -> None:
    assert {name: built.signs_in(name, built.password) for name in ROLES} == dict.fromkeys(ROLES, True)
    assert not built.signs_in("manager", "something else")


def test_the_last_lines_say_where_it_is_how_to_stop_and_how_to_start_anew(built: Served) -> None:
    *_, address, stop, data, anew = built.printed.splitlines()
    assert address == f"http://127.0.0.1:{built.port}/"
    assert stop.startswith("Stop with Ctrl-C")
    assert data == f"Data: {built.folder}"
    assert anew.startswith("To start anew")


def test_secrets_logs_and_queue_are_for_their_owner_alone(built: Served) -> None:
    modes = {name: (built.folder / name).stat().st_mode & 0o777 for name in ("demo-password", "demo-token", "logs")}
    assert modes == {"demo-password": 0o600, "demo-token": 0o600, "logs": 0o700}
    assert {log.stat().st_mode & 0o777 for log in (built.folder / "logs").glob("*.log")} == {0o600}
    assert (built.folder / "queue").stat().st_mode & 0o777 == 0o700


def test_web_two_workers_and_one_scheduler_run(built: Served) -> None:
    commands = " ".join(command for pid, command in processes_on(built.folder).items() if os.getpgid(pid) == pid)
    assert [commands.count(part) for part in ("gunicorn", "--queues sweep", "--queues long", " beat ")] == [1, 1, 1, 1]


def test_a_second_start_is_refused_and_disturbs_nothing(built: Served) -> None:
    clock = (built.folder / "demo-clock").read_text()
    refused = manage(built.folder, "demo", "--devices", "60", "--port", str(free_port()))
    assert refused.returncode == 1
    assert f"Process {built.process.pid} already runs on the data folder {built.folder}" in refused.stderr
    assert (built.folder / "demo-clock").read_text() == clock
    assert built.status("/healthz") == 200


def test_a_worker_does_the_job_that_another_process_asks_for(built: Served) -> None:
    asked = manage(built.folder, "shell", "-v", "0", "-c", _ASK)
    assert asked.returncode == 0, asked.stderr
    with sqlite3.connect(built.folder / "pmcore.sqlite3") as record:
        state = "SELECT state FROM pmcore_job WHERE unique_key = 'asked by a test'"
        assert wait_until(lambda: record.execute(state).fetchone() == ("done",))


_ASK = """
from pmcore import clock
from pmcore.engines.records import SYSTEM
from pmcore.services import jobs
jobs.ask(kind="verify_record", unique_key="asked by a test", arguments={}, actor=SYSTEM, at=clock.now())
"""


def test_a_killed_web_process_comes_back(built: Served) -> None:
    killed = built.leader("gunicorn")
    os.kill(killed, signal.SIGKILL)
    assert wait_until(lambda: built.leader("gunicorn") not in (0, killed))
    assert wait_until(lambda: built.status("/healthz") == 200)
    assert "web ended (SIGKILL) and starts again in 1 s" in built.said()


def test_after_ctrl_c_nothing_is_left_and_another_start_goes_on_with_what_was_written(folder: Path) -> None:
    first = start(folder)
    (folder / "words").write_text("plain-words-31")
    wrote = manage(
        folder, "create_account", "wim", "--name", "Wim", "--role", "auditor", "--password-file", str(folder / "words")
    )
    assert wrote.returncode == 0, wrote.stderr
    assert first.end(signal.SIGINT) == 0
    assert processes_on(folder) == {}
    stopped_at = dt.datetime.fromisoformat((folder / "demo-moment").read_text().strip())

    again = start(folder)
    try:
        assert again.printed.startswith("Already built")
        assert again.password == first.password
        assert again.signs_in("wim", "plain-words-31")
        asked = manage(folder, "shell", "-v", "0", "-c", "from pmcore import clock; print(clock.now().isoformat())")
        assert stopped_at <= dt.datetime.fromisoformat(asked.stdout.strip()) < stopped_at + dt.timedelta(hours=1)
    finally:
        assert again.end_at_once() == 0
    assert processes_on(folder) == {}


def test_a_supervisor_that_is_killed_leaves_nobody_behind(folder: Path) -> None:
    served = start(folder)
    assert len(processes_on(folder)) > 4
    served.end(signal.SIGKILL)
    assert wait_until(lambda: processes_on(folder) == {})
