"""Only one supervisor, and no build beside it, on a data folder."""

import fcntl
import os
from collections.abc import Iterator
from contextlib import contextmanager
from pathlib import Path

NAME = "supervisor.lock"


class AlreadyRunning(RuntimeError):
    """Another process holds the data folder."""


@contextmanager
def alone(folder: Path) -> Iterator[None]:
    """Hold the folder's lock. The kernel lets go of it however the process ends. Raises AlreadyRunning."""
    path = folder / NAME
    with os.fdopen(os.open(path, os.O_RDWR | os.O_CREAT, 0o600), "r+") as file:
        try:
            fcntl.flock(file, fcntl.LOCK_EX | fcntl.LOCK_NB)
        except BlockingIOError:
            holder = file.read().strip() or "unknown"
            raise AlreadyRunning(
                f"Process {holder} already runs on the data folder {folder}. Stop it first, or name another folder "
                "with PMCORE_DATA."
            ) from None
        file.truncate(0)
        file.write(f"{os.getpid()}\n")
        file.flush()
        yield
