"""The standing of a due inspection as a row of whole numbers, and many of them as columns.

Days are counted from 1970-01-01; NEVER stands for a day that has not come, NOTHING for an id that there is not. Words
are their places in their enumerations. So a million rows become one array at once.
"""

import datetime as dt
from collections.abc import Sequence
from dataclasses import dataclass, fields
from typing import NamedTuple, Self

import numpy as np
from numpy.typing import NDArray

from pmcore.engines.due_status import DueColumns
from pmcore.engines.vocabulary import PlanBasis, RiskClass

NEVER = 2**31 - 1
NOTHING = 0

RISK_CLASSES = tuple(RiskClass)
BASES = tuple(PlanBasis)

Ids = NDArray[np.int64]
Days = NDArray[np.datetime64]

_EPOCH = dt.date(1970, 1, 1).toordinal()


def day_number(day: dt.date | None) -> int:
    return NEVER if day is None else day.toordinal() - _EPOCH


def day_of(number: int) -> dt.date | None:
    return None if number == NEVER else dt.date.fromordinal(number + _EPOCH)


class Standing(NamedTuple):
    """What is known of one due inspection, whatever the date it is asked for.

    `site` and `area`: where the device stood on the due date; `risk_class`: when the window opened. `inspection`: the
    one credited, `recorded_on` the day it was entered, `previous_on` the complete inspection before it, `latest_on` the
    last day on which, counted from that one, interval and window would have kept. `moved_on`: first arrival at another
    site inside the window.
    """

    due_inspection: int
    device: int
    plan: int
    site: int
    area: int
    device_class: int
    risk_class: int
    basis: int
    anchored: int
    inspection: int
    opens_on: int
    due_on: int
    closes_on: int
    next_opens_on: int
    completed_on: int
    withdrawn_on: int
    left_on: int
    left_recorded_on: int
    sealed_on: int
    sealed_recorded_on: int
    unsealed_on: int
    reason_on: int
    recorded_on: int
    previous_on: int
    latest_on: int
    moved_on: int


_DAYS_FROM = Standing._fields.index("opens_on")


@dataclass(frozen=True, slots=True)
class Standings:
    """Columns of standings, each an array of one length: int64, and datetime64[D] for days (NaT: it never came)."""

    due_inspection: Ids
    device: Ids
    plan: Ids
    site: Ids
    area: Ids
    device_class: Ids
    risk_class: Ids
    basis: Ids
    anchored: Ids
    inspection: Ids
    opens_on: Days
    due_on: Days
    closes_on: Days
    next_opens_on: Days
    completed_on: Days
    withdrawn_on: Days
    left_on: Days
    left_recorded_on: Days
    sealed_on: Days
    sealed_recorded_on: Days
    unsealed_on: Days
    reason_on: Days
    recorded_on: Days
    previous_on: Days
    latest_on: Days
    moved_on: Days

    @classmethod
    def of(cls, rows: Sequence[Sequence[int]]) -> Self:
        """Rows in the order of `Standing`."""
        width = len(Standing._fields)
        table = np.array(rows, np.int64).reshape(-1, width)
        table = table[np.argsort(table[:, 0], kind="stable")]
        columns = np.ascontiguousarray(table.T)
        days = columns[_DAYS_FROM:]
        days[days == NEVER] = np.iinfo(np.int64).min  # what numpy reads as NaT
        return cls(*columns[:_DAYS_FROM], *days.view("datetime64[D]"))

    def __len__(self) -> int:
        return len(self.due_inspection)

    def where(self, chosen: NDArray[np.bool_]) -> Self:
        return type(self)(*(getattr(self, field.name)[chosen] for field in fields(self)))

    @property
    def days(self) -> DueColumns:
        return DueColumns(*(getattr(self, field.name) for field in fields(DueColumns)))


assert tuple(field.name for field in fields(Standings)) == Standing._fields
