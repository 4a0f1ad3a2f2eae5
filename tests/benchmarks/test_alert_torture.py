"""A short torture: workers are killed, the queue is emptied, everything is sent twice, and each letter arrives."""

import os
import subprocess
import sys

import pytest

from tests.house.checkout import ROOT


@pytest.mark.skipif(not hasattr(os, "fork"), reason="workers need POSIX processes")
def test_each_alert_is_made_once_and_no_letter_is_lost() -> None:
    command = [sys.executable, "-m", "tests.benchmarks.alert_torture", "--own-keys"]
    options = ["--kills", "10", "--letters", "16", "--flushes", "2", "--pause", "0.05"]
    done = subprocess.run([*command, *options], cwd=ROOT, capture_output=True, text=True, timeout=500)
    assert done.returncode == 0, done.stdout + done.stderr
    assert "Each alert was made once, and no letter was lost." in done.stdout
    table = dict(line.rsplit(maxsplit=1) for line in done.stdout.splitlines()[:-1])
    assert int(table["workers killed"]) == 10
    assert int(table["queue emptied"]) == 2
    assert int(table["letters that arrived"]) == 16
