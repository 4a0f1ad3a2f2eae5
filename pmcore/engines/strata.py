"""Stretches of days in service cut where a device changed its place or its revision, and what held on a day: columns
of many devices at once.

Days are whole numbers since 1970-01-01; stretches are half-open, [from_on, until_on).
"""

from dataclasses import dataclass
from typing import Self

import numpy as np
from numpy.typing import NDArray

Ids = NDArray[np.int64]

_DAY_BITS = 23  # any day of the calendar, also before 1970
_EARLIEST = 1 << (_DAY_BITS - 1)


def _keys(device: Ids, day: Ids) -> Ids:
    """One number that sorts by device and then by day."""
    keys: Ids = (device << _DAY_BITS) | (day + _EARLIEST)
    return keys


@dataclass(frozen=True, slots=True)
class Held:
    """What holds of each device from a day on; in order of devices and days, one value a day."""

    device: Ids
    from_on: Ids
    value: Ids

    @classmethod
    def of(cls, device: Ids, from_on: Ids, value: Ids, order: Ids) -> Self:
        """From rows in any order; of one day's the highest `order` holds."""
        by = np.lexsort((order, from_on, device))
        device, from_on, value = device[by], from_on[by], value[by]
        keys = _keys(device, from_on)
        last = np.append(keys[1:] != keys[:-1], np.ones(min(len(keys), 1), np.bool_))
        return cls(device[last], from_on[last], value[last])

    def on(self, device: Ids, day: Ids) -> Ids:
        """The value of each device on its day; 0 where nothing held yet."""
        if not len(self.device):
            return np.zeros(len(device), np.int64)
        place = np.searchsorted(_keys(self.device, self.from_on), _keys(device, day), side="right") - 1
        found = (place >= 0) & (self.device[place] == device)
        values: Ids = np.where(found, self.value[place], 0)
        return values


@dataclass(frozen=True, slots=True)
class Pieces:
    """Columns of one length: the device and its days, [from_on, until_on)."""

    device: Ids
    from_on: Ids
    until_on: Ids

    @property
    def days(self) -> Ids:
        return self.until_on - self.from_on


def cut(stretches: Pieces, changes: list[Held]) -> Pieces:
    """The stretches, which do not overlap, in order of devices and days, each split where something changed inside
    it: within a piece everything held throughout."""
    by = np.lexsort((stretches.from_on, stretches.device))
    device, from_on, until_on = stretches.device[by], stretches.from_on[by], stretches.until_on[by]
    starts = _keys(device, from_on)
    inside = [_inside(device, from_on, until_on, starts, each) for each in changes]
    of = np.concatenate([np.arange(len(device)), *(place for place, _ in inside)])
    day = np.concatenate([from_on, *(day for _, day in inside)])
    by = np.lexsort((day, of))
    of, day = of[by], day[by]
    fresh = np.append(np.ones(min(len(of), 1), np.bool_), (of[1:] != of[:-1]) | (day[1:] != day[:-1]))
    of, day = of[fresh], day[fresh]
    follows = np.append(of[1:] == of[:-1], np.zeros(min(len(of), 1), np.bool_))
    ends = np.where(follows, np.append(day[1:], day[:1]), until_on[of])
    return Pieces(device[of], day, ends)


def _inside(device: Ids, from_on: Ids, until_on: Ids, starts: Ids, held: Held) -> tuple[Ids, Ids]:
    """The changes that fall inside a stretch: which one, and on which day."""
    if not len(device):
        return np.zeros(0, np.int64), np.zeros(0, np.int64)
    place = np.searchsorted(starts, _keys(held.device, held.from_on), side="right") - 1
    inside = (
        (place >= 0)
        & (device[place] == held.device)
        & (from_on[place] < held.from_on)
        & (held.from_on < until_on[place])
    )
    return place[inside], held.from_on[inside]
