"""Hourly sweeps meet every day of every zone once, whatever its clocks do, and whatever the server's clock does."""

from collections.abc import Iterator
from datetime import UTC, date, datetime, timedelta
from zoneinfo import ZoneInfo, available_timezones

import pytest

from pmcore.engines.site_days import day_to_sweep

HOUR, DAY = timedelta(hours=1), timedelta(days=1)
# The years in which Samoa left out a day, and the coming ones.
YEARS = [date(2011, 1, 1), date(2026, 1, 1)]
ZONES = sorted(available_timezones())


def unlike(first: date, last: date) -> list[str]:
    """Of the zones whose clocks show the same at every midnight, one: many names are other names of another zone."""
    midnights = [datetime.combine(first + number * DAY, datetime.min.time()) for number in range((last - first).days)]
    found: dict[tuple[timedelta | None, ...], str] = {}
    for name in ZONES:
        found.setdefault(tuple(each.replace(tzinfo=ZoneInfo(name)).utcoffset() for each in midnights), name)
    return list(found.values())


def around_midnights(zone: ZoneInfo, first: date, last: date) -> Iterator[datetime]:
    """The sweeps on the hour, in UTC, from two before each local midnight to four after it: past every change of clocks
    that is made at night."""
    latest = None
    for number in range((last - first).days + 1):
        midnight = datetime.combine(first + number * DAY, datetime.min.time(), zone).astimezone(UTC)
        for hours in range(-2, 5):
            moment = midnight.replace(minute=0, second=0, microsecond=0) + hours * HOUR
            if latest is None or moment > latest:
                latest = moment
                yield moment


def swept(zone: ZoneInfo, moments: Iterator[datetime]) -> list[tuple[datetime, date]]:
    mark, found = None, []
    for moment in moments:
        as_of = day_to_sweep(moment, zone, mark)
        if as_of is not None:
            mark = as_of
            found.append((moment, as_of))
    return found


def real_days(zone: ZoneInfo, first: date, last: date) -> list[date]:
    """The days that a calendar there showed at some hour."""
    days = {moment.astimezone(zone).date() for moment in around_midnights(zone, first, last)}
    return sorted(days)


@pytest.mark.parametrize("first", YEARS)
def test_every_day_of_every_zone_is_swept_once_within_an_hour_of_its_beginning(first: date) -> None:
    last = first + timedelta(days=730)
    assert len(ZONES) > 400
    for name in unlike(first, last):
        zone = ZoneInfo(name)
        days = swept(zone, around_midnights(zone, first, last))
        assert [day for _, day in days] == real_days(zone, first, last), name
        for moment, day in days[1:]:
            assert (moment - HOUR).astimezone(zone).date() < day, name


def test_samoa_had_no_30th_of_december() -> None:
    days = real_days(ZoneInfo("Pacific/Apia"), date(2011, 12, 28), date(2012, 1, 2))
    assert date(2011, 12, 30) not in days
    assert {date(2011, 12, 29), date(2011, 12, 31)} <= set(days)


@pytest.mark.parametrize("name", ZONES[:: max(1, len(ZONES) // 60)])
@pytest.mark.parametrize("jump", [HOUR, -HOUR, timedelta(days=400)])
def test_a_clock_that_jumps_and_comes_back_misses_no_day(name: str, jump: timedelta) -> None:
    """The server's clock is wrong in every 37th sweep."""
    zone, first, last = ZoneInfo(name), date(2026, 1, 1), date(2027, 12, 31)
    right = list(around_midnights(zone, first, last))
    wrong = (moment + (jump if number % 37 == 36 else 0 * HOUR) for number, moment in enumerate(right))
    days = [day for _, day in swept(zone, wrong)]
    assert set(real_days(zone, first, last)) <= set(days)
    at_most = len(set(days)) + 2 * (len(right) // 37)  # a day is swept again after each jump; that adds nothing
    assert len(days) <= at_most
