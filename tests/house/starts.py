"""A checkout with two small locks, to watch how `manage.py` starts in it. Nothing here reaches a network."""

import os
import shutil
import subprocess
import sys
from pathlib import Path

from tests.house.checkout import ROOT

# Stubs that say when a start has gone all the way through.
RUN_STUBS = {
    "django/core/management/__init__.py": "def execute_from_command_line(argv): print('Django runs', argv[1:])\n",
    "allauth/__init__.py": "",
    "celery/__init__.py": "",
}
DEV_STUBS = {**RUN_STUBS, "pytest/__main__.py": "import sys; print('pytest runs', sys.argv[1:])\n"}

# Writes down what it was asked for; then installs the stubs, or fails when the lock says so.
UV = """#!/bin/sh
PATH=/usr/bin:/bin
echo "$@" >> {calls}
for lock in "$@"; do :; done
grep -q unreachable "$lock" && exit 2
cp -r {stubs}/"$(basename "$lock")"/. "$(dirname "$4")"/../lib/python3.11/site-packages
"""
OTHER_VERSION = """
import runpy, sys
sys.version_info, sys.argv = (3, 12, 0), ["manage.py", *sys.argv[1:]]
runpy.run_path("manage.py", run_name="__main__")
"""


class Checkout:
    """`manage.py` and its locks in a folder of their own, with nothing on the path but what a test puts there."""

    def __init__(self, folder: Path) -> None:
        self.folder = folder / "checkout"
        self.path = folder / "bin"
        self.stubs = folder / "stubs"
        self.environment = self.folder / ".venv"
        self.python = self.environment / "bin" / "python"
        self.run_lock = self.folder / "requirements.txt"
        self.dev_lock = self.folder / "requirements-dev.txt"
        self._calls = folder / "calls"
        for each in (self.folder, self.path):
            each.mkdir()
        for name in ("manage.py", "bootstrap.py"):
            shutil.copy(ROOT / name, self.folder)
        for lock, stubs in ((self.run_lock, RUN_STUBS), (self.dev_lock, DEV_STUBS)):
            lock.write_text("# nothing yet\n")
            write(self.stubs / lock.name, stubs)

    def start(self, *arguments: str, python: Path | None = None, **variables: str) -> subprocess.CompletedProcess[str]:
        """Starts `manage.py`, by default with a bare interpreter: `-S` hides every installed package."""
        interpreter = [str(python)] if python else [sys.executable, "-S"]
        return self._run([*interpreter, "manage.py", *arguments], **variables)

    def start_with_another_version(self, *arguments: str) -> subprocess.CompletedProcess[str]:
        return self._run([sys.executable, "-S", "-c", OTHER_VERSION, *arguments])

    def start_twice_at_once(self, *arguments: str) -> list[int]:
        command = [sys.executable, "-S", "manage.py", *arguments]
        both = [subprocess.Popen(command, cwd=self.folder, env=self._variables()) for _ in range(2)]
        return [each.wait() for each in both]

    def put_on_path(self, name: str, script: str) -> None:
        program = self.path / name
        program.write_text(script)
        program.chmod(0o755)

    def put_uv_on_path(self) -> None:
        self.put_on_path("uv", UV.format(calls=self._calls, stubs=self.stubs))

    def uv_calls(self) -> list[str]:
        return self._calls.read_text().splitlines() if self._calls.exists() else []

    def markers(self) -> list[str]:
        return sorted(path.name.rsplit("-", 1)[0] for path in self.environment.glob("ready-*"))

    def _run(self, command: list[str], **variables: str) -> subprocess.CompletedProcess[str]:
        environment = self._variables() | variables
        # A start that goes round in circles must end as a failure.
        return subprocess.run(command, cwd=self.folder, env=environment, capture_output=True, text=True, timeout=120)

    def _variables(self) -> dict[str, str]:
        kept = {name: value for name, value in os.environ.items() if not name.startswith(("PYTHON", "PIP_", "PMCORE_"))}
        return kept | {"PATH": str(self.path)}


def write(folder: Path, contents: dict[str, str]) -> None:
    for name, content in contents.items():
        (folder / name).parent.mkdir(parents=True, exist_ok=True)
        (folder / name).write_text(content)
