"""The embedded queue among several processes: every message arrives once, whole."""

import json
import subprocess
import sys
from collections import Counter
from pathlib import Path

import pytest
from kombu import Connection
from kombu.exceptions import ChannelError

from pmcore import filequeue

MESSAGES = 1_000

PUBLISH = """
import sys
from pathlib import Path
from kombu import Connection
from pmcore import filequeue
options = filequeue.transport_options(Path(sys.argv[1]))
with Connection(f"{filequeue.NAME}://", transport_options=options) as queue:
    simple = queue.SimpleQueue("work")
    for number in range(int(sys.argv[3])):
        simple.put({"from": sys.argv[2], "number": number, "padding": "x" * 2_000})
"""

CONSUME = """
from queue import Empty
import sys
from pathlib import Path
from kombu import Connection
from pmcore import filequeue
options = filequeue.transport_options(Path(sys.argv[1]))
with Connection(f"{filequeue.NAME}://", transport_options=options) as queue:
    simple = queue.SimpleQueue("work")
    while True:
        try:
            message = simple.get(timeout=5)
        except Empty:
            break
        print(message.payload["from"], message.payload["number"], flush=True)
        message.ack()
"""


def start(code: str, folder: Path, *arguments: str) -> "subprocess.Popen[str]":
    command = [sys.executable, "-c", code, str(folder), *arguments]
    return subprocess.Popen(command, stdout=subprocess.PIPE, text=True)


def test_three_publishers_and_two_consumers_lose_and_double_nothing(tmp_path: Path) -> None:
    publishers = [start(PUBLISH, tmp_path, name, str(MESSAGES)) for name in "abc"]
    consumers = [start(CONSUME, tmp_path) for _ in range(2)]
    for publisher in publishers:
        assert publisher.wait(timeout=120) == 0
    said = [consumer.communicate(timeout=120)[0].split("\n")[:-1] for consumer in consumers]
    arrived = Counter(line for lines in said for line in lines)
    assert arrived == Counter(f"{name} {number}" for name in "abc" for number in range(MESSAGES))
    assert [file for file in tmp_path.rglob("*") if file.suffix == ".msg"] == []


def test_the_folders_are_their_owners_alone(tmp_path: Path) -> None:
    options = filequeue.transport_options(tmp_path / "queue")
    assert all(Path(options[name]).stat().st_mode & 0o077 == 0 for name in ("data_folder_in", "control_folder"))


def test_two_bindings_made_at_once_both_stand(tmp_path: Path) -> None:
    options = filequeue.transport_options(tmp_path)
    with Connection(f"{filequeue.NAME}://", transport_options=options) as connection:
        channel = connection.default_channel
        channel._queue_bind("work", "a", "", "first")
        channel._queue_bind("work", "b", "", "second")
        channel._queue_bind("work", "b", "", "second")
        assert sorted(binding.queue for binding in channel.get_table("work")) == ["first", "second"]
    table = json.loads(next(tmp_path.rglob("work.exchange")).read_text())
    assert len(table) == 2


def test_a_name_that_leaves_the_folder_is_refused(tmp_path: Path) -> None:
    options = filequeue.transport_options(tmp_path)
    with Connection(f"{filequeue.NAME}://", transport_options=options) as connection, pytest.raises(ChannelError):
        connection.default_channel._queue_bind("../outside", "", "", "first")
