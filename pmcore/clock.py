"""The only place that reads the clock. Edges (views, tasks, commands) call it once and hand the moment on.

In a demonstration the clock is set back: its today is the day on which the history ends, and runs on from there.
"""

from datetime import UTC, date, datetime, timedelta
from zoneinfo import ZoneInfo

from django.conf import settings


def now() -> datetime:
    """This moment, in UTC."""
    return datetime.now(UTC) + (settings.CLOCK_OFFSET or timedelta())


def today(at: datetime, zone: str) -> date:
    """The calendar day at moment `at` in the IANA zone `zone`."""
    return at.astimezone(ZoneInfo(zone)).date()


def is_set_back() -> bool:
    """Whether this is a demonstration's clock."""
    return settings.CLOCK_OFFSET is not None
