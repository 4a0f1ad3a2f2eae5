"""What work is good for that comes before its window opens: to be said before it is too late to choose."""

import datetime as dt
from dataclasses import dataclass

from pmcore.engines.vocabulary import DueState
from pmcore.queries.due_list import DueItem
from pmcore.queries.standing_catalogue import catalogue
from pmcore.queries.standings import credit_of_work


@dataclass(frozen=True, slots=True)
class EarlyWork:
    """If the whole sheet is done on `on`: `counts`, as met early; or `counts_for` an older due inspection, by its due
    date. `can_re_anchor`: it counts only if the plan counts from that day on by the same act."""

    on: dt.date
    counts: bool
    counts_for: dt.date | None
    can_re_anchor: bool


def early_work(item: DueItem, *, on: dt.date, known: int) -> EarlyWork | None:
    """None: its window has opened. A fixed number of statements."""
    if item.state is not DueState.AHEAD:
        return None
    facts, due, device = catalogue(known), item.due_inspection, item.device.device
    credit = credit_of_work(due, device, on, re_anchors=False, catalogue=facts)
    if credit is not None:
        return EarlyWork(on, credit[0] == due, None if credit[0] == due else credit[1], False)
    anchored = credit_of_work(due, device, on, re_anchors=True, catalogue=facts)
    return EarlyWork(on, False, None, anchored is not None and anchored[0] == due)
