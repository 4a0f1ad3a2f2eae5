"""A real installation on one machine: what `serve` refuses, and that it serves an empty record."""

import signal
import subprocess
import sys
import time
from pathlib import Path

import pytest

from tests.demonstrations import environment, free_port, manage, processes_on
from tests.house.checkout import ROOT


def test_it_migrates_serves_and_ends_with_nothing_left(tmp_path: Path) -> None:
    port = free_port()
    process = subprocess.Popen(
        [sys.executable, "manage.py", "serve", "--port", str(port)],
        cwd=ROOT, env=environment(tmp_path), stdout=subprocess.PIPE, text=True,
    )  # fmt: skip
    assert process.stdout is not None
    assert process.stdout.readline() == f"http://127.0.0.1:{port}/\n"
    assert f"Data: {tmp_path}" in process.stdout.readline()
    for _ in range(2):  # asked twice, it does not wait for its children
        process.send_signal(signal.SIGTERM)
        time.sleep(0.3)
    assert process.wait(60) == 0
    assert processes_on(tmp_path) == {}


@pytest.mark.parametrize("port", ["0", "70000"])
def test_a_wrong_port_is_refused(tmp_path: Path, port: str) -> None:
    refused = manage(tmp_path, "serve", "--port", port)
    assert refused.returncode == 1
    assert "is no port: give one from 1 to 65535 with --port" in refused.stderr


def test_a_demonstration_is_not_served_as_a_real_installation(tmp_path: Path) -> None:
    (tmp_path / "demo-clock").write_text("-100\n")
    refused = manage(tmp_path, "serve")
    assert refused.returncode == 1
    assert "holds a demonstration: start it with `demo`" in refused.stderr
