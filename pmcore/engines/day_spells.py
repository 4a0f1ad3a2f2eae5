"""Stretches of days as columns: half-open, for any number of devices at once."""

from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from datetime import date
from typing import Any, Self

import numpy as np
from numpy.typing import ArrayLike, NDArray

Ids = NDArray[np.int64]
Days = NDArray[np.datetime64]

LASTS = np.datetime64("NaT", "D")
_AWAY = 1 << 32  # what a spell that takes time away weighs, beside 1 for one that gives it


class ReversedSpell(ValueError):
    """It ends before it begins."""


class SpellWithoutStart(ValueError):
    """Nobody knows since when."""


@dataclass(frozen=True, slots=True)
class Spells:
    """Stretches of days: `from_on` is the first day, `until_on` the first day after the last (NaT: it lasts).

    Columns of one length, `device` int64, days datetime64[D] (dates, and None for NaT, are taken too). They may
    overlap, and be empty. Raises ReversedSpell, SpellWithoutStart.
    """

    device: Ids
    from_on: Days
    until_on: Days

    def __post_init__(self) -> None:
        columns = _ids(self.device), _days(self.from_on), _days(self.until_on)
        for name, column in zip(("device", "from_on", "until_on"), columns, strict=True):
            object.__setattr__(self, name, column)
        if not len(self.device) == len(self.from_on) == len(self.until_on):
            raise ValueError("the columns of spells differ in length")
        if np.isnat(self.from_on).any():
            raise SpellWithoutStart(f"a spell of device {self.device[np.isnat(self.from_on)][0]} has no first day")
        reversed_ones = self.until_on < self.from_on  # False where it lasts
        if reversed_ones.any():
            at = int(np.flatnonzero(reversed_ones)[0])
            days = f"from {self.from_on[at]} until {self.until_on[at]}"
            raise ReversedSpell(f"a spell of device {self.device[at]} runs {days}")

    def __len__(self) -> int:
        return len(self.device)

    @classmethod
    def of(cls, rows: Iterable[tuple[int, date, date | None]]) -> Self:
        """From rows of device, first day, first day after (None: it lasts)."""
        device, from_on, until_on = _columns(rows, 3)
        return cls(_ids(device), _days(from_on), _days(until_on))

    @property
    def days(self) -> Ids:
        """How long each is; of a spell that lasts this cannot be told, so clip it first."""
        return (self.until_on - self.from_on).astype(np.int64)

    def clipped(self, from_on: ArrayLike, until_on: ArrayLike = LASTS) -> Self:
        """What of each lies from `from_on` until before `until_on`, one day for all or one for each; what lies outside
        wholly is left out."""
        begins = np.maximum(self.from_on, _days(from_on))
        ends = np.fmin(self.until_on, _days(until_on))  # NaT gives way to a day
        inside = ~(ends <= begins)
        return type(self)(self.device[inside], begins[inside], ends[inside])


@dataclass(frozen=True, slots=True)
class ValuedSpells:
    """Spells in which something had a value: a revision, a site, an area; `value` int64."""

    spells: Spells
    value: Ids

    def __post_init__(self) -> None:
        object.__setattr__(self, "value", _ids(self.value))
        if len(self.value) != len(self.spells):
            raise ValueError("every spell has one value")

    @classmethod
    def of(cls, rows: Iterable[tuple[int, int, date, date | None]]) -> Self:
        """From rows of device, value, first day, first day after (None: it lasts)."""
        device, value, from_on, until_on = _columns(rows, 4)
        return cls(Spells(_ids(device), _days(from_on), _days(until_on)), _ids(value))


def together(parts: Sequence[Spells]) -> Spells:
    """All of them in one."""
    if not parts:
        return Spells.of([])
    return Spells(*(np.concatenate([getattr(part, name) for part in parts]) for name in Spells.__slots__))


def without(present: Spells, away: Spells, start: np.datetime64, end: np.datetime64) -> Spells:
    """The days from `start` until before `end` that lie in some spell of `present` and in none of `away`: spells that
    neither overlap nor touch, in order of device and day.

    Every spell is two events on the line of its device's days; between two events everything stays as it is.
    """
    present, away = present.clipped(start, end), away.clipped(start, end)
    devices = _distinct(present.device)
    if not len(devices):
        return Spells.of([])
    span = int((end - start).astype(np.int64)) + 1  # a device's line has a place for the end, too
    places: list[Ids] = []
    changes: list[Ids] = []
    for spells, weight in ((present, 1), (away, _AWAY)):
        row, known = _rows_of(spells.device, devices)
        for days, change in ((spells.from_on, weight), (spells.until_on, -weight)):
            places.append((row * span + (days - start).astype(np.int64))[known])
            changes.append(np.full(len(places[-1]), change))
    place = np.concatenate(places)
    order = np.argsort(place)
    place, level = place[order], np.cumsum(np.concatenate(changes)[order])
    last = np.append(place[1:] != place[:-1], True)  # of one day's events the state after the last
    place, inside = place[last], (level[last] > 0) & (level[last] < _AWAY)
    before = np.append(False, inside[:-1])  # a device's line ends with nothing in force, so none runs into the next
    begins, ends = place[inside & ~before], place[before & ~inside]
    line, first_day = np.divmod(begins, span)
    return Spells(devices[line], start + first_day, start + ends % span)


def days_within(exposed: Spells, stretches: Spells) -> Ids:
    """How many days of `exposed` (disjoint and in order, as `without` gives them) lie inside each of `stretches`."""
    if not len(exposed) or not len(stretches):
        return np.zeros(len(stretches), np.int64)
    devices = _distinct(exposed.device)
    start = exposed.from_on.min()
    span = int((exposed.until_on.max() - start).astype(np.int64)) + 1

    def place(row: Ids, day: Days) -> Ids:
        on_line = np.where(np.isnat(day), span - 1, np.clip((day - start).astype(np.int64), 0, span - 1))
        return np.asarray(row * span + on_line)

    row, _ = _rows_of(exposed.device, devices)
    begins, ends = place(row, exposed.from_on), place(row, exposed.until_on)
    gone_by = np.append(0, np.cumsum(ends - begins))

    def days_before(row: Ids, day: Days) -> Ids:
        at = place(row, day)
        begun = np.searchsorted(begins, at, side="right")
        running = np.where(begun > 0, ends[begun - 1] - at, 0)
        return np.asarray(gone_by[begun] - np.maximum(running, 0))

    row, known = _rows_of(stretches.device, devices)
    return np.where(known, days_before(row, stretches.until_on) - days_before(row, stretches.from_on), 0)


def _distinct(ids: Ids) -> Ids:
    """Each once, in order; mostly they are in order already, which is quicker to see than to make."""
    if (ids[1:] < ids[:-1]).any():
        return np.unique(ids)
    return ids[np.append(True, ids[1:] != ids[:-1])] if len(ids) else ids


def _rows_of(device: Ids, devices: Ids) -> tuple[Ids, NDArray[np.bool_]]:
    """The row of each in the sorted `devices`, and whether it is there at all."""
    row = np.minimum(np.searchsorted(devices, device), len(devices) - 1)
    return row, devices[row] == device


def _columns(rows: Iterable[tuple[Any, ...]], width: int) -> list[list[Any]]:
    columns = [list(column) for column in zip(*rows, strict=True)]
    return columns or [[] for _ in range(width)]


def _ids(values: ArrayLike) -> Ids:
    return np.asarray(values, np.int64)


def _days(values: ArrayLike) -> Days:
    return np.asarray(values, "datetime64[D]")
