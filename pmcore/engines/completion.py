"""Is an inspection complete, and on which day was it performed?

It is complete when every mandatory step stands answered; the performed day is the site's day of the last of them. An
answer does not stand for ever: it is asked again when the inspection is spread over too many days, or when a repair has
touched it.
"""

from collections.abc import Collection, Iterable
from dataclasses import dataclass
from datetime import date, datetime
from zoneinfo import ZoneInfo

from pmcore.engines.site_days import local_day

MOST_DAYS_APART = 14


@dataclass(frozen=True, slots=True)
class Answered:
    step: str
    at: datetime


@dataclass(frozen=True, slots=True)
class Repaired:
    """A repair, and the steps that it makes necessary again."""

    steps: frozenset[str]
    at: datetime


def performed_on(
    mandatory: Collection[str],
    answers: Iterable[Answered],
    repairs: Iterable[Repaired],
    zone: str | ZoneInfo,
    most_days_apart: int = MOST_DAYS_APART,
) -> date | None:
    """The day on which the last mandatory step was answered; None while one is missing or has to be answered again.

    An inspection that was complete stays so: what comes after it belongs to another one. Without mandatory steps there
    is nothing to complete: None.
    """
    standing: dict[str, date] = {}
    # Of one moment, the repair counts as the earlier: it asks for more rather than for less.
    events: list[Answered | Repaired] = [*repairs, *answers]
    for event in sorted(events, key=lambda event: event.at):
        if isinstance(event, Repaired):
            standing = {step: day for step, day in standing.items() if step not in event.steps}
            continue
        today = local_day(event.at, zone)
        standing[event.step] = today
        standing = {step: day for step, day in standing.items() if (today - day).days <= most_days_apart}
        if standing.keys() >= set(mandatory) and mandatory:
            return today
    return None
