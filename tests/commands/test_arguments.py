"""An argument that makes no sense is one line and exit status 1, never a traceback."""

import os
import subprocess
import sys
from pathlib import Path

import pytest
from django.core.management import CommandError, call_command

ROOT = Path(__file__).resolve().parents[2]
NO_UTF8 = b"\xff"


def run(data: Path, *arguments: str | bytes) -> subprocess.CompletedProcess[str]:
    """As on the command line, with a data folder of its own."""
    others = {key: each for key, each in os.environ.items() if not key.startswith(("PMCORE_", "DATABASE_", "REDIS_"))}
    settings = {"DJANGO_SETTINGS_MODULE": "pmcore.settings", "PMCORE_DATA": str(data)}
    command = [sys.executable, "-m", "django", *arguments]
    return subprocess.run(command, cwd=ROOT, env=others | settings, capture_output=True, text=True)


@pytest.mark.parametrize(
    ("arguments", "named"),
    [
        (["create_token", b"wim" + NO_UTF8], "user: 'wim\\udcff'"),
        (["create_token", "wim", b"--label=" + NO_UTF8], "label: '\\udcff'"),
        (["create_account", NO_UTF8, "--name=W", "--role=manager"], "username: '\\udcff'"),
        (["create_account", "wim", b"--name=" + NO_UTF8, "--role=manager"], "name: '\\udcff'"),
        (["create_account", "wim", "--name=W", "--role=manager", b"--email=" + NO_UTF8], "email: '\\udcff'"),
        (["create_account", "wim", "--name=W", "--role=manager", b"--site=" + NO_UTF8], "site: '\\udcff'"),
        (["generate_due", b"--site=" + NO_UTF8], "site: '\\udcff'"),
        (["compliance", "--period=2026-09", b"--site=" + NO_UTF8], "site: '\\udcff'"),
    ],
)
def test_bytes_that_are_no_text_are_named(tmp_path: Path, arguments: list[str | bytes], named: str) -> None:
    done = run(tmp_path, *arguments)
    assert (done.returncode, done.stdout) == (1, "")
    assert done.stderr.splitlines() == [f"CommandError: {named} is no text, it holds bytes that are no UTF-8."]


@pytest.mark.parametrize("day", ["31.10.2026", NO_UTF8])
@pytest.mark.parametrize("command", ["generate_due", "compliance"])
def test_a_day_that_is_none_is_one_line_under_the_usage(tmp_path: Path, command: str, day: str | bytes) -> None:
    done = run(tmp_path, command, "--as-of", day)
    shown = "\\udcff" if day == NO_UTF8 else day
    assert (done.returncode, done.stdout) == (2, "")
    assert done.stderr.splitlines()[-1].endswith(f"argument --as-of: '{shown}' is no date; write it as 2026-10-31.")
    assert "Traceback" not in done.stderr


def test_what_a_program_hands_over_is_checked_too() -> None:
    with pytest.raises(CommandError, match="label: "):
        call_command("create_token", "wim", label="a\udcff")
