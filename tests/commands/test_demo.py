"""The command builds the demonstration; that it also serves it stands in test_demo_serves."""

import datetime as dt
import signal
import socket
from collections.abc import Iterator
from io import StringIO
from pathlib import Path
from typing import Any

import pytest
from django.conf import settings as settings_of_django
from django.core.management import CommandError, call_command
from pytest_django import Settings

from pmcore import clock
from pmcore.management.commands import demo
from pmcore.models import StandingsMark
from pmcore.queries.head import head
from pmcore.supervisor.lock import alone
from tests.cast import a_hospital

pytestmark = pytest.mark.django_db


@pytest.fixture(autouse=True)
def signals() -> Iterator[None]:
    """The command takes a request to end for Ctrl-C."""
    before = signal.getsignal(signal.SIGTERM)
    yield
    signal.signal(signal.SIGTERM, before)


@pytest.fixture(autouse=True)
def folder(tmp_path: Path, settings: Settings) -> Path:
    """A demonstration's clock must not become that of other tests."""
    settings.DATA, settings.CLOCK_FILE, settings.CLOCK_OFFSET = tmp_path, tmp_path / "demo-clock", None
    return tmp_path


def said(*arguments: str) -> tuple[str, str]:
    out, err = StringIO(), StringIO()
    call_command("demo", *arguments, stdout=out, stderr=err)
    return out.getvalue(), err.getvalue()


def test_it_builds_with_progress_on_one_line_and_says_when_it_is_there() -> None:
    out, progress = said("--no-serve", "--devices", "60", "--seed", "2")
    assert out == f"Built Quillmere Health (seed 2, 60 devices): {head().size:,} entries.\n"
    assert progress.count("\n") == 1
    assert "Months: 36 of 36" in progress
    assert said("--no-serve", "--devices", "60", "--seed", "2") == (
        "Already built: Quillmere Health (seed 2, 60 devices).\n", ""
    )  # fmt: skip


def test_it_sets_the_clock_to_the_last_morning_and_keeps_what_the_first_page_is_counted_from(folder: Path) -> None:
    said("--no-serve", "--devices", "60")
    assert clock.now().strftime("%Y-%m-%d %H:%M") == "2026-10-31 07:30"
    assert dt.timedelta(seconds=int((folder / "demo-clock").read_text())) == settings_of_django.CLOCK_OFFSET
    assert StandingsMark.objects.get().size == head().size


def test_it_does_not_build_while_another_process_holds_the_data_folder(folder: Path) -> None:
    with alone(folder), pytest.raises(CommandError, match="already runs on the data folder"):
        said("--no-serve")
    assert head().size == 0


def test_a_second_start_hears_that_the_first_runs_and_not_that_its_port_is_in_use(folder: Path) -> None:
    with socket.create_server(("127.0.0.1", 0)) as taken:
        port = taken.getsockname()[1]
        with alone(folder), pytest.raises(CommandError, match="already runs on the data folder"):
            said("--port", str(port))
    assert head().size == 0


@pytest.mark.parametrize("port", ["0", "65536", "-1"])
def test_a_number_that_is_no_port_is_refused_before_anything_is_built(port: str) -> None:
    with pytest.raises(CommandError, match=f"{port} is no port: give one from 1 to 65535 with --port"):
        said(f"--port={port}")
    assert head().size == 0


def test_a_port_in_use_is_said_before_anything_is_built_and_the_option_named() -> None:
    with socket.create_server(("127.0.0.1", 0)) as taken:
        port = taken.getsockname()[1]
        with pytest.raises(CommandError, match=f"Port {port} is in use by another program: give another with --port"):
            said("--port", str(port))
    assert head().size == 0


def test_it_builds_nothing_into_a_record_in_use() -> None:
    a_hospital()
    size = head().size
    with pytest.raises(CommandError, match="already holds something else"):
        said("--no-serve")
    assert head().size == size


def test_interrupted_it_says_how_to_start_anew(monkeypatch: pytest.MonkeyPatch) -> None:
    def interrupted(**options: Any) -> None:
        raise KeyboardInterrupt

    monkeypatch.setattr(demo, "build_demo", interrupted)
    with pytest.raises(CommandError, match=r"not finished\. Delete the data folder"):
        said("--no-serve")
    assert head().size == 0


def test_too_few_devices_are_refused() -> None:
    with pytest.raises(CommandError, match="at least 60"):
        said("--no-serve", "--devices", "59")
    assert head().size == 0
