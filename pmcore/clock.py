"""The only place that reads the clock. Edges (views, tasks, commands) call it once and hand the moment on."""

from datetime import UTC, date, datetime
from zoneinfo import ZoneInfo


def now() -> datetime:
    """This moment, in UTC."""
    return datetime.now(UTC)


def today(at: datetime, zone: str) -> date:
    """The calendar day at moment `at` in the IANA zone `zone`."""
    return at.astimezone(ZoneInfo(zone)).date()
