"""Who was due, who was met, who is explained: counts over columns of due inspections, and how a share is written.

Headline = met in the window ÷ due; due = met + met late + reason recorded + no reason. Windows still open, suspended
and ended are counted apart. It is a census: it carries no confidence interval.
"""

from collections.abc import Sequence
from dataclasses import dataclass, fields
from datetime import date
from decimal import ROUND_HALF_UP, Decimal
from typing import Self

import numpy as np
from numpy.typing import NDArray

from pmcore.engines.due_status import STATES, DueColumns, are_explained, states_on
from pmcore.engines.vocabulary import Counted, DueState

COUNTED = tuple(Counted)

_NO_DATA = "no data"
_COUNTED_AS = {
    DueState.MET: Counted.MET,
    DueState.MET_LATE: Counted.MET_LATE,
    DueState.OVERDUE: Counted.NO_REASON,
    DueState.NOT_MET: Counted.NO_REASON,
    DueState.OPEN: Counted.OPEN,
    DueState.AHEAD: Counted.AHEAD,
    DueState.SUSPENDED: Counted.SUSPENDED,
    DueState.ENDED: Counted.ENDED,
    DueState.WITHDRAWN: Counted.WITHDRAWN,
}
_CODES = np.array([COUNTED.index(_COUNTED_AS[state]) for state in STATES], np.int8)
_EXPLAINED = np.int8(COUNTED.index(Counted.REASON_RECORDED))


@dataclass(frozen=True, slots=True)
class Share:
    """A percentage with its numerator and denominator."""

    numerator: int
    denominator: int

    @property
    def percent(self) -> Decimal | None:
        """One decimal, rounded half up; what is below 100 is 99.9 at most. None: there is nothing to divide by."""
        if self.denominator == 0:
            return None
        exact = Decimal(100) * self.numerator / self.denominator
        rounded = exact.quantize(Decimal("0.1"), ROUND_HALF_UP)
        return min(rounded, Decimal("99.9")) if self.numerator < self.denominator else rounded

    def __str__(self) -> str:
        return _NO_DATA if self.percent is None else f"{self.percent} %"


@dataclass(frozen=True, slots=True)
class Tally:
    """How many due inspections counted as what."""

    met: int = 0
    met_late: int = 0
    reason_recorded: int = 0
    no_reason: int = 0
    open: int = 0
    ahead: int = 0
    suspended: int = 0
    ended: int = 0
    withdrawn: int = 0

    @property
    def due(self) -> int:
        return self.met + self.met_late + self.reason_recorded + self.no_reason

    @property
    def undone(self) -> int:
        return self.reason_recorded + self.no_reason

    @property
    def share(self) -> Share:
        return Share(self.met, self.due)

    @classmethod
    def of(cls, counts: Sequence[int]) -> Self:
        """`counts` in the order of `COUNTED`."""
        return cls(*(int(count) for count in counts))


assert [field.name for field in fields(Tally)] == [str(word) for word in COUNTED]


def counted_on(dues: DueColumns, as_of: date) -> NDArray[np.int8]:
    """What each due inspection counts as on `as_of`: its place in `COUNTED`."""
    codes = _CODES[states_on(dues, as_of)]
    return np.where(are_explained(dues, as_of), _EXPLAINED, codes)


def tally(counted: NDArray[np.int8]) -> Tally:
    return Tally.of(np.bincount(counted, minlength=len(COUNTED)).tolist())


def tally_by(counted: NDArray[np.int8], group: NDArray[np.int64]) -> dict[int, Tally]:
    """A tally for each value in `group` (as long as `counted`), in their order."""
    if not len(counted):
        return {}
    values, place = np.unique(group, return_inverse=True)
    cells = np.bincount(place * len(COUNTED) + counted, minlength=len(values) * len(COUNTED))
    rows = cells.reshape(len(values), len(COUNTED)).tolist()
    return {int(value): Tally.of(row) for value, row in zip(values.tolist(), rows, strict=True)}


def devices_met(counted: NDArray[np.int8], device: NDArray[np.int64]) -> Share:
    """Devices with everything met ÷ devices with anything due."""
    in_question = counted <= COUNTED.index(Counted.NO_REASON)
    due = np.unique(device[in_question])
    missed = np.unique(device[in_question & (counted != COUNTED.index(Counted.MET))])
    return Share(len(due) - len(missed), len(due))
