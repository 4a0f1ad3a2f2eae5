"""What runs on one machine: web, a worker for each queue, and one scheduler."""

from pmcore.supervisor.child import Program

_WORKER = ("-A", "pmcore", "worker", "--pool", "solo", "--without-gossip", "--without-mingle", "--loglevel", "WARNING")


def programs(listener: int, temporary: str) -> list[Program]:
    """`listener`: the descriptor of the bound socket. `temporary`: a folder for the web process's heartbeats."""
    return [
        Program("web", "gunicorn", _web(listener, temporary), keeps=listener),
        Program("worker-sweep", "celery", (*_WORKER, "--queues", "sweep", "--hostname", "sweep@%h")),
        Program("worker-long", "celery", (*_WORKER, "--queues", "long", "--hostname", "long@%h")),
        # In memory, so that it leaves no file behind which another would stumble over.
        Program("scheduler", "celery", ("-A", "pmcore", "beat", "--scheduler", "celery.beat:Scheduler", "--pidfile=",
                                        "--loglevel", "WARNING")),
    ]  # fmt: skip


def _web(listener: int, temporary: str) -> tuple[str, ...]:
    return (
        "pmcore.wsgi:application",
        "--bind", f"fd://{listener}",
        "--workers", "2",  # two cores; threads wait for the database
        "--threads", "4",
        "--graceful-timeout", "5",
        "--worker-tmp-dir", temporary,
        "--no-control-socket",
        "--log-level", "warning",
    )  # fmt: skip
