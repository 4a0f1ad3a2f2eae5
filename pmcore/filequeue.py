"""The embedded queue: kombu's folder of message files, made safe for several processes.

kombu writes a message or a table of bindings in place, so that a reader may find half of it. Here each is written aside
and renamed, and a message is taken by renaming it: of two takers one succeeds. What a power cut left unreadable is
passed over: a message stays among the taken ones, a table is written anew.
"""

import fcntl
import uuid
from collections import defaultdict, deque
from collections.abc import Iterator
from contextlib import contextmanager, suppress
from pathlib import Path
from queue import Empty
from time import monotonic_ns
from typing import Any

from django.core.exceptions import ImproperlyConfigured
from kombu.transport import TRANSPORT_ALIASES, filesystem
from kombu.utils.json import dumps, loads

NAME = "pmcorefiles"


class Channel(filesystem.Channel):  # type: ignore[misc]  # kombu carries no types
    def __init__(self, *arguments: Any, **options: Any) -> None:
        super().__init__(*arguments, **options)
        self._listed: defaultdict[str, deque[str]] = defaultdict(deque)

    def _write(self, path: Path, value: Any) -> None:
        aside = path.with_name(f".{uuid.uuid4()}")
        aside.write_text(dumps(value))
        aside.replace(path)

    def _put(self, queue: str, payload: Any, **_: Any) -> None:
        name = f"{monotonic_ns():020}_{uuid.uuid4()}.{queue}.msg"
        self._write(Path(self.data_folder_out) / name, payload)

    def _get(self, queue: str) -> Any:
        names = self._listed[queue]
        for anew in (False, True):
            if anew:  # one listing serves many messages: a long queue would be read and sorted for each
                names.extend(self._names(queue))
            while names:
                with suppress(FileNotFoundError, ValueError):  # another worker was quicker, or it cannot be read
                    return self._take(names.popleft())
        raise Empty

    def _names(self, queue: str) -> list[str]:
        names = (file.name for file in Path(self.data_folder_in).iterdir())
        return sorted(name for name in names if name.partition(".")[2] == f"{queue}.msg")

    def _take(self, name: str) -> Any:
        taken = (Path(self.data_folder_in) / name).rename(Path(self.processed_folder) / name)
        payload = loads(taken.read_text())
        taken.unlink()
        return payload

    def get_table(self, exchange: str) -> list[Any]:
        try:
            return list(super().get_table(exchange))
        except ValueError:
            return []

    @contextmanager
    def _bindings(self, exchange: str) -> Iterator[list[list[str]]]:
        """The bindings of the exchange, to be changed by one process at a time."""
        path = self._exchange_file(exchange)
        with (self.control_folder / ".lock").open("w") as lock:
            fcntl.flock(lock, fcntl.LOCK_EX)
            bindings = [list(known) for known in self.get_table(exchange)]
            yield bindings
            self._write(path, bindings)

    def _queue_bind(self, exchange: str, routing_key: str, pattern: str, queue: str) -> None:
        binding = [routing_key or "", pattern or "", queue or ""]
        with self._bindings(exchange) as bindings:
            if binding not in bindings:
                bindings.insert(0, binding)

    def _delete(self, queue: str, exchange: str, routing_key: str, pattern: str, *_: Any, **__: Any) -> None:
        self._purge(queue)
        binding = [routing_key or "", pattern or "", queue or ""]
        with self._bindings(exchange) as bindings:
            if binding in bindings:
                bindings.remove(binding)


class Transport(filesystem.Transport):  # type: ignore[misc]
    Channel = Channel


TRANSPORT_ALIASES[NAME] = f"{__name__}:Transport"


def transport_options(folder: Path) -> dict[str, Any]:
    """Makes the queue's folders, for their owner alone, and names them to kombu. Raises ImproperlyConfigured."""
    parts = {name: folder / name for name in ("messages", "taken", "control")}
    for part in (folder, *parts.values()):
        try:
            part.mkdir(mode=0o700, parents=True, exist_ok=True)
            part.chmod(0o700)  # it may have been there before
        except OSError as error:
            raise ImproperlyConfigured(f"The queue's folder {part} cannot be made: {error.strerror}.") from error
    return {
        "data_folder_in": str(parts["messages"]),
        "data_folder_out": str(parts["messages"]),
        "processed_folder": str(parts["taken"]),
        "control_folder": str(parts["control"]),
        "polling_interval": 0.1,
    }


def empty(folder: Path) -> None:
    """Nobody may use the queue meanwhile. Its folders stay."""
    for part in ("messages", "taken", "control"):
        for file in (folder / part).iterdir():
            file.unlink()
