"""What was said to be wrong with a device and never was: reports, findings, holds and releases that were taken back."""

import datetime as dt
from dataclasses import dataclass
from typing import Any

from pmcore.models import Entry, FaultDetails, FindingDetails, HoldDetails, ReleaseStatement


@dataclass(frozen=True, slots=True)
class TakenBack:
    """`thing`: what it was, of the day `on`; `words`: what was seen or is wrong, or the reason of a hold. `entry` took
    it back, for this `reason`. Empty words: none were said, or they were taken out."""

    thing: str
    on: dt.date
    words: str
    entry: int
    at: dt.datetime
    reason: str


_TABLES: tuple[tuple[str, Any, str, str], ...] = (
    ("fault_report", FaultDetails, "seen_on", "account__words"),
    ("finding", FindingDetails, "discovered_on", "mode__words"),
    ("hold", HoldDetails, "from_on", "reason"),
    ("release", ReleaseStatement, "signed_on", "restriction__words"),
)


def taken_back(device: int, known: int) -> list[TakenBack]:
    """In the order of these tables, as known at a size of the history: five statements. A view that another one
    replaced is not meant: the thing itself has none left."""
    gone = [each for table in _TABLES for each in _gone(*table, device=device, known=known)]
    entries = Entry.objects.filter(seq__in={entry for *_, entry in gone})
    said = {seq: (at, reason or "") for seq, at, reason in entries.values_list("seq", "at", "note__words")}
    return [TakenBack(thing, on, words or "", entry, *said[entry]) for thing, on, words, entry in gone]


def _gone(
    thing: str, table: Any, on: str, words: str, *, device: int, known: int
) -> list[tuple[str, dt.date, str | None, int]]:
    """Of each thing, what was said of it last."""
    of_device = {f"{thing}__device": device}
    left = table.objects.known(known).filter(**of_device).values(thing)
    rows = table.objects.filter(**of_device, replaced_by__lte=known).exclude(**{f"{thing}__in": left})
    columns = (thing, on, words, "replaced_by")
    last = {key: (thing, *rest) for key, *rest in rows.order_by("replaced_by", "id").values_list(*columns)}
    return list(last.values())
