"""What runs show, put together."""

from collections.abc import Iterable
from typing import Any

from pmcore.queries.exported_run import Run


def parts(runs: Iterable[Run]) -> tuple[Any, ...]:
    """Leaves, numbers, bodies, lines of the CSV and texts."""
    found = list(runs)
    return (
        [run.leaves[at : at + 32] for run in found for at in range(0, len(run.leaves), 32)],
        [seq for run in found for seq in run.seqs],
        [body for run in found for body in run.ndjson.splitlines(keepends=True)],
        [line for run in found for line in run.csv.splitlines(keepends=True)],
        [text for run in found for text in run.texts],
    )
