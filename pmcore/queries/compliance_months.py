"""How the figure went month by month, and at which sites: what stands behind the picture and behind "it fell"."""

import datetime as dt
from collections.abc import Mapping
from dataclasses import dataclass, replace

import numpy as np

from pmcore.engines.compliance import Tally, counted_on, tally, tally_by
from pmcore.engines.records import Actor
from pmcore.queries.asked import check_asked, sites_allowed
from pmcore.queries.compliance import ComplianceFilter, chosen_in_period
from pmcore.queries.read_standings import standings_between
from pmcore.queries.standing_catalogue import catalogue


@dataclass(frozen=True, slots=True)
class MonthOfFigure:
    """Windows that closed in the month that begins on `begins_on`; `by_site`: the same by the site's id."""

    begins_on: dt.date
    tally: Tally
    by_site: Mapping[int, Tally]


def compliance_months(
    asked: ComplianceFilter, *, months: int, as_of: dt.date, known: int, today: dt.date, actor: Actor
) -> tuple[MonthOfFigure, ...]:
    """The last `months` months up to the one in which the period ends, oldest first: one reading of the standings.

    Raises AsOfAhead, KnownBeyond, OutsideYourSites.
    """
    check_asked(as_of=as_of, known=known, today=today)
    sites = sites_allowed(actor, asked.sites)
    last = np.datetime64(asked.ends_on, "M")
    first = last - (months - 1)
    whole = replace(asked, starts_on=_day(first), ends_on=_day(last + 1) - dt.timedelta(days=1))
    read = standings_between(whole.starts_on, whole.ends_on, as_of=as_of, catalogue=catalogue(known))
    standings = chosen_in_period(read, whole, sites)
    counted = counted_on(standings, as_of)
    month_of = standings.closes_on.astype("datetime64[M]")
    found = []
    for month in np.arange(first, last + 1):
        inside = month_of == month
        found.append(
            MonthOfFigure(_day(month), tally(counted[inside]), tally_by(counted[inside], standings.site[inside]))
        )
    return tuple(found)


def _day(month: np.datetime64) -> dt.date:
    day: dt.date = month.astype("datetime64[D]").item()
    return day
