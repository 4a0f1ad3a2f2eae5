"""The embedded queue: kombu's folder of message files, made safe for several processes.

kombu writes a message or a table of bindings in place, so that a reader may find half of it. Here each is written aside
and renamed, and a message is taken by renaming it: of two takers one succeeds.
"""

import fcntl
import uuid
from pathlib import Path
from queue import Empty
from typing import Any

from kombu.transport import TRANSPORT_ALIASES, filesystem
from kombu.utils.json import dumps, loads

NAME = "pmcorefiles"


class Channel(filesystem.Channel):  # type: ignore[misc]  # kombu carries no types
    def _write(self, path: Path, value: Any) -> None:
        aside = path.with_name(f".{uuid.uuid4()}")
        aside.write_text(dumps(value))
        aside.replace(path)

    def _put(self, queue: str, payload: Any, **_: Any) -> None:
        name = f"{filesystem.monotonic() * 1000:017.0f}_{uuid.uuid4()}.{queue}.msg"
        self._write(Path(self.data_folder_out) / name, payload)

    def _get(self, queue: str) -> Any:
        for message in sorted(Path(self.data_folder_in).iterdir()):
            if message.name.partition(".")[2] != f"{queue}.msg":
                continue
            taken = Path(self.processed_folder) / message.name
            try:
                message.rename(taken)
            except FileNotFoundError:
                continue  # another worker was quicker
            payload = loads(taken.read_text())
            taken.unlink()
            return payload
        raise Empty

    def _queue_bind(self, exchange: str, routing_key: str, pattern: str, queue: str) -> None:
        binding = [routing_key or "", pattern or "", queue or ""]
        with (self.control_folder / ".lock").open("w") as lock:
            fcntl.flock(lock, fcntl.LOCK_EX)
            bindings = [list(known) for known in self.get_table(exchange)]
            if binding not in bindings:
                self._write(self._exchange_file(exchange), [binding, *bindings])


class Transport(filesystem.Transport):  # type: ignore[misc]
    Channel = Channel


TRANSPORT_ALIASES[NAME] = f"{__name__}:Transport"


def transport_options(folder: Path) -> dict[str, Any]:
    """Makes the queue's folders, for their owner alone, and names them to kombu."""
    parts = {name: folder / name for name in ("messages", "taken", "control")}
    for part in parts.values():
        part.mkdir(mode=0o700, parents=True, exist_ok=True)
    return {
        "data_folder_in": str(parts["messages"]),
        "data_folder_out": str(parts["messages"]),
        "processed_folder": str(parts["taken"]),
        "control_folder": str(parts["control"]),
        "polling_interval": 0.1,
    }
