"""A device that could not be inspected: when do the attempts stand as a reason, and when may it be declared lost?"""

from collections.abc import Collection, Iterable, Sequence
from datetime import date

from pmcore.engines.records import Attempt
from pmcore.engines.working_days import SATURDAY_AND_SUNDAY, working_days_after

DAYS_NEEDED = 2
WORKING_DAYS_TO_RECORD = 2
WINDOWS_NEEDED = 2


def reason_stands_from(
    attempts: Iterable[Attempt],
    opens_on: date,
    closes_on: date,
    *,
    weekend: Collection[int] = SATURDAY_AND_SUNDAY,
    holidays: Collection[date] = frozenset(),
    days_needed: int = DAYS_NEEDED,
    working_days_to_record: int = WORKING_DAYS_TO_RECORD,
) -> date | None:
    """The day on which enough attempts had been recorded; None when they do not suffice.

    Attempts count on different days inside the window, each recorded no later than so many working days after the
    close.
    """
    latest = working_days_after(closes_on, working_days_to_record, weekend, holidays)
    recorded: dict[date, date] = {}
    for attempt in attempts:
        if opens_on <= attempt.tried_on <= closes_on and attempt.recorded_on <= latest:
            known = recorded.get(attempt.tried_on, attempt.recorded_on)
            recorded[attempt.tried_on] = min(known, attempt.recorded_on)
    in_order = sorted(recorded.values())
    return in_order[days_needed - 1] if len(in_order) >= days_needed else None


def may_be_declared_lost(reasons: Sequence[date | None], windows_needed: int = WINDOWS_NEEDED) -> bool:
    """Was it searched for in vain in each of the last windows that closed? `reasons`, one a window, oldest first."""
    last = reasons[-windows_needed:]
    return len(last) == windows_needed and None not in last
