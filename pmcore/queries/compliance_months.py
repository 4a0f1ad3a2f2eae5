"""How the figure went month by month, and at which sites: what stands behind the picture and behind "it fell"."""

import datetime as dt
from collections.abc import Mapping
from dataclasses import dataclass, replace

import numpy as np

from pmcore.engines.compliance import Tally, counted_on, tally, tally_by
from pmcore.queries.compliance import ComplianceFilter, chosen_in_period
from pmcore.queries.standing_rows import Standings


@dataclass(frozen=True, slots=True)
class MonthOfFigure:
    """Windows that closed in the month that begins on `begins_on`; `by_site`: the same by the site's id."""

    begins_on: dt.date
    tally: Tally
    by_site: Mapping[int, Tally]


def whole_months(asked: ComplianceFilter, months: int) -> ComplianceFilter:
    """The same question of the last `months` months up to the one in which the period ends."""
    last = np.datetime64(asked.ends_on, "M")
    return replace(asked, starts_on=_day(last - (months - 1)), ends_on=_day(last + 1) - dt.timedelta(days=1))


def months_of(
    asked: ComplianceFilter, read: Standings, *, as_of: dt.date, sites: frozenset[int] | None
) -> tuple[MonthOfFigure, ...]:
    """Each month of the period, oldest first, from standings that hold it; `sites`: those allowed."""
    standings = chosen_in_period(read, asked, sites)
    counted = counted_on(standings, as_of)
    month_of = standings.closes_on.astype("datetime64[M]")
    found = []
    for month in np.arange(np.datetime64(asked.starts_on, "M"), np.datetime64(asked.ends_on, "M") + 1):
        inside = month_of == month
        by_site = tally_by(counted[inside], standings.site[inside])
        found.append(MonthOfFigure(_day(month), tally(counted[inside]), by_site))
    return tuple(found)


def _day(month: np.datetime64) -> dt.date:
    day: dt.date = month.astype("datetime64[D]").item()
    return day
