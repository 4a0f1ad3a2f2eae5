"""A technician's own day: what they were given, and what is open where they work."""

import datetime as dt
from dataclasses import dataclass

from pmcore.engines.records import Actor
from pmcore.engines.vocabulary import DueState, Role
from pmcore.queries.due_list import DueFilter, DueItem, DuePage, due_page

_MOST = 500
_SHOWN = 60
_WITHIN = dt.timedelta(days=31)
_NOW = frozenset({DueState.OPEN, DueState.OVERDUE})


@dataclass(frozen=True, slots=True)
class OwnWork:
    """What the actor was given for today or before, for later in this week, and for later or no day; `at_sites`: what
    is open or overdue there and closes within a month, None for a provider; `others`: the first of those that are not
    their own."""

    today: tuple[DueItem, ...]
    week: tuple[DueItem, ...]
    later: tuple[DueItem, ...]
    at_sites: DuePage | None
    others: tuple[DueItem, ...] = ()


def own_work(*, as_of: dt.date, known: int, actor: Actor) -> OwnWork:
    """Each in order of day and half. A fixed number of statements. Raises KnownBeyond."""
    sunday = as_of + dt.timedelta(days=6 - as_of.weekday())
    mine: tuple[DueItem, ...] = ()
    if actor.person is not None:
        mine = due_page(DueFilter(assigned_to=actor.person), as_of=as_of, known=known, actor=actor, limit=_MOST).rows
    when = {item.due_inspection: _when(item, actor.person) for item in mine}
    ordered = sorted(mine, key=lambda item: (when[item.due_inspection], item.closes_on, item.due_inspection))
    today = tuple(item for item in ordered if when[item.due_inspection][0] <= as_of)
    week = tuple(item for item in ordered if as_of < when[item.due_inspection][0] <= sunday)
    later = tuple(item for item in ordered if when[item.due_inspection][0] > max(sunday, as_of))
    if actor.role is Role.PROVIDER:
        return OwnWork(today, week, later, None)
    asked = DueFilter(closes_to=as_of + _WITHIN, states=_NOW)
    page = due_page(asked, as_of=as_of, known=known, actor=actor, limit=_SHOWN + len(mine))
    return OwnWork(today, week, later, page, tuple(row for row in page.rows if row.due_inspection not in when)[:_SHOWN])


def _when(item: DueItem, person: int | None) -> tuple[dt.date, str]:
    own = next(each for each in item.assigned if each.person == person)
    return own.on or dt.date.max, own.half or ""
