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


class Standing(NamedTuple):
    """What is known of one due inspection, whatever the date it is asked for.

    `site` and `area`: where the device stood on the due date; `risk_class`: when the window opened. `inspection`: the
    one credited, `recorded_on` the day it was entered, `previous_on` the complete inspection before it, `latest_on` the
    last day on which, counted from that one, interval and window would have kept. `moved_on`: first arrival at another
    site inside the window.
    """

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


_DUE_INSPECTION = Standing._fields.index("due_inspection")  # the days stand before it


@dataclass(frozen=True, slots=True)
class Standings(DueColumns):
    """Columns of standings, each an array of one length: datetime64[D] for days (NaT: it never came), then int64."""

    recorded_on: Days
    previous_on: Days
    latest_on: Days
    moved_on: Days
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

    @classmethod
    def of_rows(cls, rows: Sequence[Sequence[int]]) -> Self:
        """Rows in the order of `Standing`."""
        table = np.array(rows, np.int64).reshape(-1, len(Standing._fields))
        table = table[np.argsort(table[:, _DUE_INSPECTION], kind="stable")]
        columns = np.ascontiguousarray(table.T)
        days = columns[:_DUE_INSPECTION]
        days[days == NEVER] = np.iinfo(np.int64).min  # what numpy reads as NaT
        return cls(*days.view("datetime64[D]"), *columns[_DUE_INSPECTION:])

    def __len__(self) -> int:
        return len(self.due_inspection)

    def where(self, chosen: NDArray[np.bool_] | NDArray[np.intp]) -> Self:
        """Those that are true, or those at these places, in that order."""
        return type(self)(*(getattr(self, field.name)[chosen] for field in fields(self)))


assert tuple(field.name for field in fields(Standings)) == Standing._fields
