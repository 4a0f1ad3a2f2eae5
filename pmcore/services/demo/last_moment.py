"""Where the demonstration's clock goes on: the morning after which nothing is planned, or where it was last."""

import datetime as dt
from pathlib import Path
from zoneinfo import ZoneInfo

from pmcore.services.demo.marks import written_last
from pmcore.services.demo.parameters import Parameters, quillmere

MORNING = dt.time(7, 30)
"""The wall's time at the first site."""


def goes_on_at(kept_in: Path, parameters: Parameters | None = None) -> dt.datetime:
    """The moment from which the clock goes on: never before the one that was kept, nor before anything that is written.

    A file that holds no moment is passed over.
    """
    parameters = parameters or quillmere()
    morning = dt.datetime.combine(parameters.ends_on, MORNING, ZoneInfo(parameters.sites[0].time_zone))
    moments = (morning, written_last(), _kept(kept_in))
    return max(moment.astimezone(dt.UTC) for moment in moments if moment is not None)


def keep_moment(moment: dt.datetime, kept_in: Path) -> None:
    aside = kept_in.with_name(f".{kept_in.name}")
    aside.write_text(f"{moment.isoformat()}\n", encoding="ascii")
    aside.replace(kept_in)


def _kept(file: Path) -> dt.datetime | None:
    try:
        moment = dt.datetime.fromisoformat(file.read_text(encoding="ascii").strip())
    except (FileNotFoundError, ValueError):
        return None
    return moment if moment.tzinfo is not None else None
