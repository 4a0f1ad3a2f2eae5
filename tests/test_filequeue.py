"""The embedded queue among several processes: every message arrives once, whole."""

import json
import subprocess
import sys
from collections import Counter
from collections.abc import Iterator
from pathlib import Path
from queue import Empty

import pytest
from django.core.exceptions import ImproperlyConfigured
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
with Connection(f"{filequeue.NAME}://localhost", transport_options=options) as queue:
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
with Connection(f"{filequeue.NAME}://localhost", transport_options=options) as queue:
    simple = queue.SimpleQueue("work")
    while True:
        try:
            message = simple.get(timeout=1)
        except Empty:
            if Path(sys.argv[2]).exists():
                break
            continue
        print(message.payload["from"], message.payload["number"], flush=True)
        message.ack()
"""


BIND = """
import sys
from pathlib import Path
from kombu import Connection
from pmcore import filequeue
options = filequeue.transport_options(Path(sys.argv[1]))
with Connection(f"{filequeue.NAME}://localhost", transport_options=options) as queue:
    for number in range(100):
        name = f"{sys.argv[2]}{number}"
        queue.default_channel._queue_bind("work", name, "", name)
"""


@pytest.fixture
def channel(tmp_path: Path) -> Iterator[filequeue.Channel]:
    with Connection(f"{filequeue.NAME}://localhost", transport_options=filequeue.transport_options(tmp_path)) as queue:
        yield queue.default_channel


def start(code: str, folder: Path, *arguments: str) -> "subprocess.Popen[str]":
    command = [sys.executable, "-c", code, str(folder), *arguments]
    return subprocess.Popen(command, stdout=subprocess.PIPE, text=True)


def test_three_publishers_and_two_consumers_lose_and_double_nothing(tmp_path: Path) -> None:
    publishers = [start(PUBLISH, tmp_path, name, str(MESSAGES)) for name in "abc"]
    all_sent = tmp_path / "all sent"
    consumers = [start(CONSUME, tmp_path, str(all_sent)) for _ in range(2)]
    for publisher in publishers:
        assert publisher.wait(timeout=120) == 0
    all_sent.touch()
    said = [consumer.communicate(timeout=120)[0].split("\n")[:-1] for consumer in consumers]
    arrived = Counter(line for lines in said for line in lines)
    assert arrived == Counter(f"{name} {number}" for name in "abc" for number in range(MESSAGES))
    assert [file for file in tmp_path.rglob("*") if file.suffix == ".msg"] == []


def test_the_folders_are_their_owners_alone(tmp_path: Path) -> None:
    options = filequeue.transport_options(tmp_path / "queue")
    folders = [tmp_path / "queue", *(Path(options[name]) for name in options if "folder" in name)]
    assert [folder.stat().st_mode & 0o777 for folder in folders] == [0o700] * 5


def test_folders_that_others_could_read_are_closed(tmp_path: Path) -> None:
    opened = [tmp_path / "queue", tmp_path / "queue" / "messages"]
    for folder in opened:
        folder.mkdir()
        folder.chmod(0o755)
    filequeue.transport_options(tmp_path / "queue")
    assert [folder.stat().st_mode & 0o777 for folder in opened] == [0o700] * 2


@pytest.mark.parametrize("in_the_way", ["queue", "queue/messages"])
def test_a_folder_that_cannot_be_made_is_named(tmp_path: Path, in_the_way: str) -> None:
    (tmp_path / in_the_way).parent.mkdir(exist_ok=True)
    (tmp_path / in_the_way).touch()
    with pytest.raises(ImproperlyConfigured, match=f"queue's folder .*{in_the_way} cannot be made"):
        filequeue.transport_options(tmp_path / "queue")


def test_bindings_made_at_once_all_stand(tmp_path: Path) -> None:
    binders = [start(BIND, tmp_path, f"{process}-") for process in "abc"]
    assert [binder.wait(timeout=120) for binder in binders] == [0, 0, 0]
    table = json.loads(next(tmp_path.rglob("work.exchange")).read_text())
    assert sorted(queue for _, _, queue in table) == sorted(
        f"{process}-{number}" for process in "abc" for number in range(100)
    )


def test_a_binding_made_twice_stands_once(channel: filequeue.Channel) -> None:
    for _ in range(2):
        channel._queue_bind("work", "a", "", "first")
    assert [binding.queue for binding in channel.get_table("work")] == ["first"]


def test_a_deleted_queue_leaves_the_others_their_bindings(channel: filequeue.Channel) -> None:
    for name in ("first", "second"):
        channel._queue_bind("work", name, "", name)
    channel._put("first", {"number": 1})
    channel._delete("first", "work", "first", "")
    assert [binding.queue for binding in channel.get_table("work")] == ["second"]
    assert channel._size("first") == 0


@pytest.mark.parametrize("torn", ["", '[["a", "", "fi'])
def test_a_torn_table_of_bindings_is_written_anew(channel: filequeue.Channel, torn: str) -> None:
    (channel.control_folder / "work.exchange").write_text(torn)
    assert channel.get_table("work") == []
    channel._queue_bind("work", "a", "", "first")
    assert [binding.queue for binding in channel.get_table("work")] == ["first"]


@pytest.mark.parametrize("torn", ["", '{"number":'])
def test_a_torn_message_stops_nobody_and_is_kept(channel: filequeue.Channel, torn: str) -> None:
    (Path(channel.data_folder_in) / "0_torn.work.msg").write_text(torn)
    channel._put("work", {"number": 1})
    assert channel._get("work") == {"number": 1}
    with pytest.raises(Empty):
        channel._get("work")
    assert [kept.name for kept in Path(channel.processed_folder).iterdir()] == ["0_torn.work.msg"]


def test_messages_come_in_the_order_of_their_sending_and_to_their_queue_alone(channel: filequeue.Channel) -> None:
    for number in range(20):
        channel._put("work", number)
        channel._put("work.other", -number)
    assert [channel._get("work") for _ in range(20)] == list(range(20))
    assert channel._size("work.other") == 20


def test_a_long_queue_is_not_listed_again_for_every_message(
    channel: filequeue.Channel, monkeypatch: pytest.MonkeyPatch
) -> None:
    listed: list[Path] = []
    iterdir = Path.iterdir
    for number in range(200):
        channel._put("work", number)
    monkeypatch.setattr(Path, "iterdir", lambda folder: listed.append(folder) or iterdir(folder))
    assert [channel._get("work") for _ in range(200)] == list(range(200))
    assert len(listed) == 1


def test_what_comes_after_the_listing_comes_after_what_was_listed(channel: filequeue.Channel) -> None:
    for number in range(3):
        channel._put("work", number)
    assert channel._get("work") == 0
    channel._put("work", 3)
    assert [channel._get("work") for _ in range(3)] == [1, 2, 3]


def test_what_another_took_after_the_listing_is_passed_over(channel: filequeue.Channel, tmp_path: Path) -> None:
    for number in range(4):
        channel._put("work", number)
    options = filequeue.transport_options(tmp_path)
    with Connection(f"{filequeue.NAME}://localhost", transport_options=options) as queue:
        other = queue.default_channel
        assert [channel._get("work"), other._get("work"), other._get("work")] == [0, 1, 2]
        assert channel._get("work") == 3
        for emptied in (channel, other):
            with pytest.raises(Empty):
                emptied._get("work")


def test_a_name_that_leaves_the_folder_is_refused(channel: filequeue.Channel) -> None:
    with pytest.raises(ChannelError):
        channel._queue_bind("../outside", "", "", "first")
