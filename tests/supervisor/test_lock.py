"""One process holds the data folder; how it ends does not matter."""

import os
import subprocess
import sys
from pathlib import Path

import pytest

from pmcore.supervisor.lock import AlreadyRunning, alone
from tests.house.checkout import ROOT

HOLD_AND_DIE = """
import os, sys
from pathlib import Path
from pmcore.supervisor.lock import alone
with alone(Path(sys.argv[1])):
    os.kill(os.getpid(), 9)
"""


def test_a_second_is_refused_and_told_who_holds_the_folder(tmp_path: Path) -> None:
    with alone(tmp_path), pytest.raises(AlreadyRunning, match=f"Process {os.getpid()} already runs on") as refused:
        alone(tmp_path).__enter__()
    assert "PMCORE_DATA" in str(refused.value)


def test_afterwards_the_folder_is_free_and_the_file_stays_its_owners(tmp_path: Path) -> None:
    for _ in range(2):
        with alone(tmp_path):
            assert (tmp_path / "supervisor.lock").read_text() == f"{os.getpid()}\n"
    assert (tmp_path / "supervisor.lock").stat().st_mode & 0o777 == 0o600


def test_one_that_was_killed_holds_nothing(tmp_path: Path) -> None:
    killed = subprocess.run([sys.executable, "-c", HOLD_AND_DIE, str(tmp_path)], cwd=ROOT)
    assert killed.returncode == -9
    with alone(tmp_path):
        assert (tmp_path / "supervisor.lock").exists()


def test_the_bootstrap_looks_for_the_same_file() -> None:
    assert '"supervisor.lock"' in (ROOT / "bootstrap.py").read_text()
