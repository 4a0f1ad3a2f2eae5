"""What plans and the table of windows are both held to: a window that fits its interval, and no change of the past."""

import datetime as dt
from collections.abc import Collection

from pmcore.engines.due_dates import (
    BadInterval,
    BadWindow,
    IntervalRule,
    NoWindowForInterval,
    Window,
    WindowTooLong,
)
from pmcore.engines.vocabulary import Basis, Unit
from pmcore.models import Site
from pmcore.queries.columns import BadValue
from pmcore.queries.figure_settings import WindowTable
from pmcore.queries.head import head
from pmcore.queries.site_days import Zones
from pmcore.services.refusals import RecordRefused


class IntervalRefused(RecordRefused):
    """The interval is not a whole number of days, weeks, months or years, at least one."""


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
        return IntervalRule(
            every, unit, counts_from, Window.from_table(table, every, unit) if window is None else window
        )
    except NoWindowForInterval as error:
        raise WindowNotInTable(str(error)) from error
    except BadInterval as error:
        raise IntervalRefused(str(error)) from error
    except (BadWindow, WindowTooLong) as error:
        raise WindowRefused(str(error)) from error


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
