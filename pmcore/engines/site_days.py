"""On which day did it happen? The day is the site's, whatever the clock in UTC says."""

from collections.abc import Iterable
from datetime import date, datetime
from zoneinfo import ZoneInfo, ZoneInfoNotFoundError

UTC_ZONE = ZoneInfo("UTC")


class SiteDayError(ValueError):
    """The site's day cannot be told."""


class MomentWithoutZone(SiteDayError):
    """A moment that does not say its offset from UTC belongs to no day."""


class UnknownZone(SiteDayError):
    """No time zone has this name."""


def local_day(moment: datetime, zone: str | ZoneInfo) -> date:
    """The date that a calendar at the site showed at `moment`. Raises MomentWithoutZone, UnknownZone."""
    if moment.utcoffset() is None:
        raise MomentWithoutZone(f"{moment} does not say its offset from UTC")
    return moment.astimezone(zone if isinstance(zone, ZoneInfo) else _zone(zone)).date()


def earliest_day(moment: datetime, zones: Iterable[str]) -> date:
    """The earliest of the sites' days at `moment`; without sites, UTC's. Raises MomentWithoutZone, UnknownZone."""
    return min((local_day(moment, zone) for zone in zones), default=local_day(moment, UTC_ZONE))


def day_to_sweep(moment: datetime, zone: str | ZoneInfo, swept_on: date | None) -> date | None:
    """The site's day, if it was last swept for another one; None: nothing to do.

    A mark that lies ahead, left by a clock that was wrong, holds nothing up.
    """
    today = local_day(moment, zone)
    return None if today == swept_on else today


def _zone(name: str) -> ZoneInfo:
    try:
        return ZoneInfo(name)
    except (ZoneInfoNotFoundError, ValueError, OSError) as error:
        raise UnknownZone(f"no time zone is called {name!r}") from error
