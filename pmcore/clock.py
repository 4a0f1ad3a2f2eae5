"""The only place that reads the clock. Edges (views, tasks, commands) call it once and hand the moment on.

In a demonstration the clock is set back: its today is the day on which the history ends, and runs on from there.
"""

import math
from datetime import UTC, date, datetime, timedelta
from pathlib import Path
from zoneinfo import ZoneInfo

from django.conf import settings


def now() -> datetime:
    """This moment, in UTC."""
    return datetime.now(UTC) + (settings.CLOCK_OFFSET or timedelta())


def today(at: datetime, zone: str) -> date:
    """The calendar day at moment `at` in the IANA zone `zone`."""
    return at.astimezone(ZoneInfo(zone)).date()


def as_told(moment: datetime) -> datetime:
    """A moment of the machine's own clock, as `now` would have told it."""
    return moment + (settings.CLOCK_OFFSET or timedelta())


def is_set_back() -> bool:
    """Whether this is a demonstration's clock."""
    return settings.CLOCK_OFFSET is not None


def go_on_from(moment: datetime, file: Path) -> None:
    """From here on `now` goes on from the moment: in this process at once, and by the file, which the settings read, in
    each that starts later on the same data folder."""
    seconds = math.ceil((moment - datetime.now(UTC)).total_seconds())  # up: never before the moment
    aside = file.with_name(f".{file.name}")
    aside.write_text(f"{seconds}\n", encoding="ascii")
    aside.replace(file)
    settings.CLOCK_OFFSET = timedelta(seconds=seconds)
