"""Forks a worker for each line that it reads, and says its process id: a worker that is there at once, however often
one is killed. Whatever wakes somebody is sent twice, and a lease is short, so that what a killed worker held is soon
taken again."""

import os
import sys
from typing import Any

import django

WORKER = ["worker", "-P", "solo", "-Q", "sweep", "--without-gossip", "--without-mingle", "-l", "WARNING"]


def _prepare() -> Any:
    django.setup()
    from pmcore import tasks, wake
    from pmcore.celery import app

    tasks.MAIL_LEASE_SECONDS = int(os.environ["TORTURE_LEASE_SECONDS"])
    once = wake._Queue.send

    def twice(queue: Any, task: str, ids: tuple[int, ...]) -> None:
        once(queue, task, ids)
        once(queue, task, ids)

    wake._Queue.send = twice  # type: ignore[method-assign]
    return app


def main() -> None:
    app = _prepare()
    print("ready", flush=True)
    for _ in sys.stdin:
        while _reaped():
            pass
        pid = os.fork()
        if pid == 0:
            os.dup2(os.open(os.devnull, os.O_RDONLY), 0)
            os.dup2(2, 1)  # what it greets with is no process id
            app.worker_main(WORKER)
            os._exit(0)
        print(pid, flush=True)


def _reaped() -> bool:
    """Whether a worker that was killed has been buried."""
    try:
        return os.waitpid(-1, os.WNOHANG)[0] != 0
    except ChildProcessError:
        return False


if __name__ == "__main__":
    main()
