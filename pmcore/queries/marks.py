"""Marks that readers of the history left in the database: they remember how long it was."""

import json
from typing import Any

from pmcore.queries.faults import Report
from pmcore.queries.raw import followers, newest_entry, verified_before
from pmcore.queries.stored import described


def check_marks(report: Report) -> None:
    """The history is as long as anybody has seen it. Somebody who cuts off the newest entries and forgets a mark is
    found by it; the marks prove nothing more."""
    seen = [(f"The follower {name!r} has seen", mark) for name, mark in followers()]
    seen += [(f"Job {job} has verified", _size_in(answer)) for job, answer in verified_before()]
    newest = newest_entry()  # read last: marks move while others append
    size = newest.seq if newest is not None else 0
    for who, mark in seen:
        if type(mark) is not int:
            report.fault("value_strange", f"{who} {described(mark)}, not a number of entries.")
        elif mark > size:
            says = f"{who} {mark:,} entries, the history has {size:,}: the newest were cut off."
            report.fault("history_shorter", says)


def _size_in(answer: Any) -> Any:
    try:
        return json.loads(answer)["size"]
    except (TypeError, ValueError, LookupError):
        return answer
