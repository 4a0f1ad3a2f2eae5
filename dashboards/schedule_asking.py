"""From the address of the schedule to its answer."""

import datetime as dt
from collections.abc import Callable, Iterator
from dataclasses import dataclass

from django.http import HttpRequest

from dashboards.access import Asking, asking
from dashboards.compliance_asking import given
from pmcore.queries.asked import AskedRefused, BadPeriod, KnownBeyond, OutsideYourSites
from pmcore.queries.due_asked import NAMES, due_filter, key, week_of
from pmcore.queries.due_list import DueFilter, DueItem, DuePage, Key, due_page
from pmcore.queries.head import head
from pmcore.queries.parameters import BadParameters, Parameters, a_day, a_number
from pmcore.queries.workload import PersonLoad, workload

ROWS_SHOWN = 200
_SATURDAY = 5
GROUPINGS = ("day", "site")
_OF_THE_PAGE = ("known", "after", "by", "tick")
_FIELD = {OutsideYourSites: "site", KnownBeyond: "known", BadPeriod: "closes_from"}


@dataclass(frozen=True, slots=True)
class ScheduleAsked:
    """`monday`, `sunday`: the week whose work is given out; `ticked`: all rows are to be ticked."""

    filter: DueFilter
    monday: dt.date
    sunday: dt.date
    known: int
    after: Key | None
    by: str
    ticked: bool


@dataclass(frozen=True, slots=True)
class Schedule:
    page: DuePage
    loads: list[PersonLoad]


def schedule_asked(request: HttpRequest) -> ScheduleAsked:
    """What the address asks: this week, at a weekend the next one, where it says nothing. Raises BadParameters."""
    asked = Parameters(given(request.GET), (*NAMES, *_OF_THE_PAGE))
    by, ticked = asked.one("by", _one_of(*GROUPINGS)), asked.one("tick", _one_of("all", "none"))
    known, after = asked.one("known", a_number), asked.one("after", key)
    otherwise = week_to_plan(asking(request).today)
    chosen = due_filter(asked, otherwise)
    asked.refuse()
    monday, sunday = week_of(asked.one("week", a_day) or otherwise)
    return ScheduleAsked(
        chosen, monday, sunday, head().size if known is None else known, after, by or "day", ticked == "all"
    )


def week_to_plan(today: dt.date) -> dt.date:
    """A day of the week that a scheduler has before them: from Saturday on the next one."""
    return today if today.weekday() < _SATURDAY else today + dt.timedelta(days=7 - today.weekday())


def schedule(asked: ScheduleAsked, found: Asking) -> Schedule:
    """Raises BadParameters."""
    try:
        page = due_page(
            asked.filter, as_of=found.today, known=asked.known, actor=found.actor, after=asked.after, limit=ROWS_SHOWN
        )
        loads = workload(
            asked.filter.sites, asked.monday, asked.sunday, as_of=found.today, known=asked.known, actor=found.actor
        )
    except AskedRefused as refused:
        raise BadParameters({_FIELD.get(type(refused), "known"): str(refused)}) from refused
    return Schedule(page, loads)


def every_row(asked: ScheduleAsked, found: Asking) -> Iterator[DueItem]:
    """Page by page at one size of the history. Raises BadParameters."""
    after = None
    while True:
        try:
            page = due_page(
                asked.filter, as_of=found.today, known=asked.known, actor=found.actor, after=after, limit=2_000
            )
        except AskedRefused as refused:
            raise BadParameters({_FIELD.get(type(refused), "known"): str(refused)}) from refused
        yield from page.rows
        if (after := page.next_after) is None:
            return


def _one_of(*words: str) -> Callable[[str], str]:
    def read(text: str) -> str:
        if text not in words:
            raise ValueError(f"{text!r} is none of {', '.join(words)}.")
        return text

    return read
