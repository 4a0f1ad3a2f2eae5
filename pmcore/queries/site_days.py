"""Where a device stood, and which day it was there: the calendar of the device's site tells the day."""

import datetime as dt
from collections import defaultdict
from collections.abc import Sequence
from dataclasses import dataclass
from typing import Self, TypeVar

from pmcore.engines.site_days import local_day
from pmcore.engines.working_days import SATURDAY_AND_SUNDAY
from pmcore.models import Placement, SiteDetails, SiteHoliday, SiteWeek

Value = TypeVar("Value")

_ONE_DAY = dt.timedelta(days=1)


@dataclass(frozen=True, slots=True)
class SiteDay:
    """A site, and the day that its calendar shows."""

    site: int
    day: dt.date


@dataclass(frozen=True, slots=True)
class WorkingCalendar:
    """Days of the week that are no working days (Monday is 0), and holidays."""

    weekend: frozenset[int]
    holidays: frozenset[dt.date]

    @classmethod
    def usual(cls) -> Self:
        """Saturday and Sunday, no holidays."""
        return cls(SATURDAY_AND_SUNDAY, frozenset())


class Zones:
    """The time zones of all sites as known at a size of the history: one statement."""

    def __init__(self, known: int) -> None:
        self._of: dict[int, list[tuple[dt.date, str]]] = defaultdict(list)
        rows = SiteDetails.objects.known(known).order_by("from_on")
        for site, from_on, zone in rows.values_list("site_id", "from_on", "time_zone"):
            self._of[site].append((from_on, zone))

    def day_at(self, site: int, moment: dt.datetime) -> dt.date | None:
        """The site's day at the moment; None where nobody said in which zone it lay then."""
        return next((day for day in _possible_days(moment) if self.shows(site, day, moment)), None)

    def shows(self, site: int, day: dt.date, moment: dt.datetime) -> bool:
        """Does a calendar at the site show this day at the moment?"""
        zone = _in_force(self._of.get(site, ()), day)
        return zone is not None and local_day(moment, zone) == day


def site_on(device: int, day: dt.date, known: int) -> int | None:
    """The site at which the device stood on the day; None where nobody said."""
    return _in_force(_placements(device, known), day)


def site_day(device: int, moment: dt.datetime, known: int, zones: Zones | None = None) -> SiteDay | None:
    """The device's site on the day, and that site's day; None where nobody said. Where a move makes two answers true,
    the later placement counts."""
    placements = _placements(device, known)
    zones = zones or Zones(known)
    for day in _possible_days(moment):
        site = _in_force(placements, day)
        if site is not None and zones.shows(site, day, moment):
            return SiteDay(site, day)
    # Carried westwards over midnight, no day fits: it is where it was on the day in UTC.
    site = _in_force(placements, moment.astimezone(dt.UTC).date())
    found = None if site is None else zones.day_at(site, moment)
    return None if site is None or found is None else SiteDay(site, found)


def working_calendar(site: int, on: dt.date, known: int) -> WorkingCalendar:
    """The site's week on the day, and all of its holidays. Nothing said of the week: Saturday and Sunday are free."""
    week = SiteWeek.objects.known(known).on(on).filter(site=site).values_list("working", flat=True).first()
    free = SATURDAY_AND_SUNDAY if week is None else {day for day, works in enumerate(week) if works == "0"}
    holidays = SiteHoliday.objects.known(known).filter(site=site, working=False).values_list("from_on", flat=True)
    return WorkingCalendar(frozenset(free), frozenset(holidays))


def _placements(device: int, known: int) -> list[tuple[dt.date, int]]:
    rows = Placement.objects.known(known).filter(device=device).order_by("from_on", "id")
    return list(rows.values_list("from_on", "area__site_id"))


def _in_force(values: Sequence[tuple[dt.date, Value]], day: dt.date) -> Value | None:
    """Of values in the order of their first days, the one that counts on the day."""
    return next((value for from_on, value in reversed(values) if from_on <= day), None)


def _possible_days(moment: dt.datetime) -> tuple[dt.date, dt.date, dt.date]:
    """No zone is further than a day from UTC."""
    today = moment.astimezone(dt.UTC).date()
    return today + _ONE_DAY, today, today - _ONE_DAY
