"""The benchmark of the record runs, measures what it says and leaves nothing behind. No time is asserted."""

import os
import subprocess
import sys
from pathlib import Path

CHECKOUT = Path(__file__).resolve().parents[2]


def test_the_table_has_every_line(tmp_path: Path) -> None:
    environment = {**os.environ, "PMCORE_DATA": str(tmp_path)}
    command = [sys.executable, "-m", "tests.benchmarks.record", "--rows", "2000"]
    done = subprocess.run(command, cwd=CHECKOUT, env=environment, capture_output=True, text=True, check=False)
    assert done.returncode == 0, done.stderr
    for line in ("an entry", "bare insert", "lock held, longest", "verify_history", ".known(size)"):
        assert done.stdout.count(line) >= 2, done.stdout
    # The scratch database is gone, and the one of the data folder was never written to.
    assert not list(tmp_path.glob("test-*.sqlite3*"))
    assert not any(path.stat().st_size for path in tmp_path.glob("*.sqlite3*"))
