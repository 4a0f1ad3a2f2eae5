"""The benchmark of exports does what it says, on a small history in a database of its own. No time is asserted."""

import os
import subprocess
import sys
from pathlib import Path

ROOT = Path(__file__).resolve().parents[2]


def test_building_downloads_memory_and_verification_are_measured():
    others = {name: value for name, value in os.environ.items() if name != "PMCORE_DATA"}
    command = [sys.executable, "-m", "tests.benchmarks.bench_export", "--entries", "300"]
    ran = subprocess.run(command, cwd=ROOT, env=others, capture_output=True, text=True)
    assert ran.returncode == 0, ran.stderr
    for what in ("building all files of ", "download of ndjson", "memory of the server", "verification on one core"):
        assert what in ran.stdout
