"""What plans and the table of windows are both held to: a window that fits its interval, and no change of the past."""

import datetime as dt
from collections.abc import Collection

from pmcore.engines.due_dates import (
    BadInterval,
    BadWindow,
    DateOutOfRange,
    IntervalRule,
    NoWindowForInterval,
    Window,
    WindowTooLong,
    add_interval,
)
from pmcore.engines.vocabulary import Basis, Unit
from pmcore.models import Site
from pmcore.queries.columns import BadValue
from pmcore.queries.figure_settings import WindowTable
from pmcore.queries.head import head
from pmcore.queries.site_days import Zones
from pmcore.services.refusals import RecordRefused

LONGEST_YEARS = 50  # a longer interval is a slip, and would lead out of the calendar one day


class IntervalRefused(RecordRefused):
    """The interval is not a whole number of days, weeks, months or years, at least one, and no longer than 50 years."""


class AnchorTooFar(RecordRefused):
    """A plan counts from a day at most one interval ahead: one further off would only put off what is due."""


class WindowRefused(RecordRefused):
    """The window is none, or does not fit between two due dates."""


class WindowNotInTable(RecordRefused):
    """The table of windows has no row for an interval of this length on that day."""


class DatedBack(RecordRefused):
    """A change begins today or later: what was due in the past stays as it was."""


def checked_rule(every: int, unit: Unit, counts_from: Basis, window: Window | None, table: WindowTable) -> IntervalRule:
    """The rule, its window out of the table where none is given.

    Raises IntervalRefused, WindowRefused, WindowNotInTable.
    """
    try:
        window = Window.from_table(table, every, unit) if window is None else window
        rule = IntervalRule(every, unit, counts_from, window)
    except NoWindowForInterval as error:
        raise WindowNotInTable(str(error)) from error
    except BadInterval as error:
        raise IntervalRefused(str(error)) from error
    except (BadWindow, WindowTooLong) as error:
        raise WindowRefused(str(error)) from error
    if _too_long(rule):
        raise IntervalRefused(f"Every {every} {unit} is less often than once in {LONGEST_YEARS} years.")
    return rule


def check_anchor(anchor_on: dt.date | None, from_on: dt.date, every: int, unit: Unit) -> None:
    """Raises AnchorTooFar."""
    if anchor_on is not None and anchor_on > (latest := add_interval(from_on, every, unit)):
        raise AnchorTooFar(f"{anchor_on} lies more than one interval ahead: {latest} at the latest.")


def _too_long(rule: IntervalRule) -> bool:
    some_day = dt.date(2000, 1, 1)
    try:
        return add_interval(some_day, rule.every, rule.unit) > add_interval(some_day, LONGEST_YEARS, Unit.YEAR)
    except DateOutOfRange:
        return True


def check_from_today(from_on: dt.date, at: dt.datetime, sites: Collection[int] | None = None) -> None:
    """`from_on` has not yet passed at any of the sites (none given: at any site at all). Raises DatedBack, BadValue.

    The latest of the sites' todays counts: a window that has opened anywhere is beyond changing.
    """
    if type(from_on) is not dt.date:
        raise BadValue("entry", "from_on", f"a date is wanted, not {from_on!r}")
    today = today_at(at, sites)
    if from_on < today:
        raise DatedBack(f"{from_on} has passed: today is {today}.")


def today_at(at: dt.datetime, sites: Collection[int] | None = None) -> dt.date:
    """The latest day that a calendar at one of the sites shows (none given: at any site); without sites, UTC's."""
    if at.tzinfo is None:
        raise BadValue("entry", "at", "a moment with its zone is wanted")
    asked = Site.objects.values_list("pk", flat=True) if sites is None else sites
    zones = Zones(head().size)
    days = [day for site in asked if (day := zones.day_at(site, at)) is not None]
    return max(days, default=at.astimezone(dt.UTC).date())
