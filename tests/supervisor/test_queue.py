"""The embedded queue is empty and declared before anybody takes from it."""

from pathlib import Path

from pmcore.supervisor import queue
from pmcore.wake import _queue
from tests import queues


def test_what_waited_for_workers_that_are_gone_is_wiped_and_every_queue_is_declared(tmp_path: Path) -> None:
    with queues.of_files(tmp_path) as files:
        _queue.send("pmcore.tasks.run_job", (7,))
        (tmp_path / "taken" / "half-done.msg").write_text("{}")
        (tmp_path / "control" / "torn.exchange").write_text("[[")
        queue.prepare(tmp_path)
        assert list((tmp_path / "messages").iterdir()) == []
        assert list((tmp_path / "taken").iterdir()) == []
        declared = "".join(file.read_text() for file in (tmp_path / "control").glob("*.exchange"))
        assert all(f'"{name}"' in declared for name in ("sweep", "long"))
        _queue.send("pmcore.tasks.run_job", (8,))
        assert files.messages() == [("pmcore.tasks.run_job", [8])] or files.messages("sweep")
