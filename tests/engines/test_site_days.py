"""What happened at 23:50 belongs to the day that was ending at the site, in every zone, at every change of clocks."""

from datetime import UTC, date, datetime, timedelta, timezone
from zoneinfo import ZoneInfo, available_timezones

import pytest

from pmcore.engines.site_days import MomentWithoutZone, UnknownZone, local_day

CHANGES_OF_CLOCKS = [
    ("America/New_York", "2026-03-08T04:50", date(2026, 3, 7)),  # 23:50 before the clocks go forward
    ("America/New_York", "2026-03-08T05:10", date(2026, 3, 8)),  # 00:10, still UTC−5
    ("America/New_York", "2026-03-09T03:50", date(2026, 3, 8)),  # 23:50, now UTC−4
    ("America/New_York", "2026-03-09T04:10", date(2026, 3, 9)),
    ("America/New_York", "2026-11-01T03:50", date(2026, 10, 31)),  # 23:50 before they go back
    ("America/New_York", "2026-11-01T04:10", date(2026, 11, 1)),
    ("America/New_York", "2026-11-02T04:50", date(2026, 11, 1)),  # 23:50, UTC−5 again
    ("America/New_York", "2026-11-02T05:10", date(2026, 11, 2)),
    ("Europe/Berlin", "2026-03-28T22:50", date(2026, 3, 28)),
    ("Europe/Berlin", "2026-03-29T21:50", date(2026, 3, 29)),
    ("Europe/Berlin", "2026-03-29T22:10", date(2026, 3, 30)),
    ("Europe/Berlin", "2026-10-24T21:50", date(2026, 10, 24)),
    ("Europe/Berlin", "2026-10-25T22:50", date(2026, 10, 25)),
    ("Europe/Berlin", "2026-10-25T23:10", date(2026, 10, 26)),
]


@pytest.mark.parametrize(("zone", "moment", "day"), CHANGES_OF_CLOCKS)
def test_on_the_days_when_clocks_change(zone, moment, day):
    """C, by hand from the rules in force in 2026: offsets of −5 and −4 hours, of +1 and +2 hours."""
    assert local_day(datetime.fromisoformat(moment).replace(tzinfo=UTC), zone) == day


@pytest.mark.parametrize("zone", sorted(available_timezones()))
def test_ten_minutes_on_either_side_of_midnight_in_every_zone_and_on_every_day(zone):
    """A few zones move their clocks forward at midnight: on that one day there is no 00:10, or no 23:50."""
    local, missing = ZoneInfo(zone), 0
    for number in range(365):
        day = date(2026, 1, 1) + timedelta(days=number)
        for hour, minute, fold in ((23, 50, 0), (23, 50, 1), (0, 10, 0), (0, 10, 1)):
            wall = datetime(day.year, day.month, day.day, hour, minute, tzinfo=local, fold=fold)
            moment = wall.astimezone(UTC)
            if moment.astimezone(local).replace(tzinfo=None) == wall.replace(tzinfo=None):
                assert local_day(moment, local) == local_day(moment, zone) == day
            else:
                missing += 1
    assert missing <= 4  # under both folds, one wall clock time at each of two changes


def test_a_day_that_a_place_left_out_has_no_moments():
    """Apia went from 2011-12-29 to 2011-12-31 when it crossed the date line (R, tz database)."""
    last = datetime(2011, 12, 30, 9, 59, tzinfo=UTC)
    assert local_day(last, "Pacific/Apia") == date(2011, 12, 29)
    assert local_day(last + timedelta(minutes=1), "Pacific/Apia") == date(2011, 12, 31)


def test_the_offset_of_the_moment_plays_no_part():
    moment = datetime(2026, 7, 16, 4, 50, tzinfo=UTC)
    elsewhere = moment.astimezone(timezone(timedelta(hours=9)))
    assert local_day(elsewhere, "America/Chicago") == local_day(moment, "America/Chicago") == date(2026, 7, 15)


def test_a_moment_without_an_offset_is_refused():
    with pytest.raises(MomentWithoutZone):
        local_day(datetime(2026, 7, 15, 23, 50), "America/Chicago")  # noqa: DTZ001 - what is refused


@pytest.mark.parametrize("name", ["Atlantis/Capital", "", "../etc/passwd", "Europe"])
def test_an_unknown_zone_is_named(name):
    with pytest.raises(UnknownZone, match="no time zone"):
        local_day(datetime(2026, 7, 15, tzinfo=UTC), name)
