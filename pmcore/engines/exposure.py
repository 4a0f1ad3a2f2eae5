"""Exposure: the days on which a device could have failed in service, and whose days they were.

It runs while the device is in the inventory and in service: not on hold, not stored, not between the day it was last
seen and the day it was found; from the first day from which its history is known. Half-open stretches of days ÷ 365.25
are device-years.
"""

from collections.abc import Sequence
from dataclasses import dataclass
from datetime import date

import numpy as np
from numpy.typing import ArrayLike, NDArray

from pmcore.engines.day_spells import (
    LASTS,
    Ids,
    ReversedSpell,
    Spells,
    SpellWithoutStart,
    ValuedSpells,
    days_within,
    together,
    without,
)
from pmcore.engines.vocabulary import ServiceStateKind

__all__ = [
    "DaysByValue",
    "ReversedSpell",
    "ReversedWindow",
    "SpellWithoutStart",
    "Spells",
    "StatesOutOfOrder",
    "ValuedSpells",
    "Window",
    "days_by_value",
    "days_of",
    "days_within",
    "exposed",
    "states_to_spells",
    "years",
]

DAYS_IN_A_YEAR = 365.25


class ReversedWindow(ValueError):
    """The last day lies before the first."""


class StatesOutOfOrder(ValueError):
    """States come in order of device and day, or it cannot be told which one ended another."""


@dataclass(frozen=True, slots=True)
class Window:
    """The days of a report, both included; none counts after `as_of` or before the day from which history is known.

    A day D that counts whole ends at D + 1. Raises ReversedWindow.
    """

    from_on: date
    as_of: date
    to_on: date | None = None
    known_from: date | None = None

    def __post_init__(self) -> None:
        if self.to_on is not None and self.to_on < self.from_on:
            raise ReversedWindow(f"the window runs from {self.from_on} to {self.to_on}")

    @property
    def start(self) -> np.datetime64:
        return np.datetime64(max(self.from_on, self.known_from or self.from_on), "D")

    @property
    def end(self) -> np.datetime64:
        """The first day that no longer counts; not before the start, so a window may be empty."""
        last = np.datetime64(min(self.to_on or self.as_of, self.as_of), "D")
        return max(last + 1, self.start)


@dataclass(frozen=True, slots=True)
class DaysByValue:
    """Columns in order: a device, a value, and the days on which the device was exposed and had the value (above 0)."""

    device: Ids
    value: Ids
    days: Ids


def states_to_spells(
    device: ArrayLike, from_on: ArrayLike, state: Sequence[ServiceStateKind], last_seen_on: ArrayLike
) -> tuple[Spells, Spells]:
    """Service states, one row each, as two sets of spells: (in service, missing).

    Rows come in order of device, day, and being written; each state holds until the device's next one, so of several
    of one day the last. A device is missing from the day it was last seen (NaT or later than the state: from the
    state's own day). Stored or gone it is not in service. Raises StatesOutOfOrder.
    """
    devices, begins = np.asarray(device, np.int64), np.asarray(from_on, "datetime64[D]")
    same = devices[1:] == devices[:-1]
    if (devices[1:] < devices[:-1]).any() or (begins[1:][same] < begins[:-1][same]).any():
        raise StatesOutOfOrder("service states are not in order of device and day")
    ends = np.full(len(devices), LASTS)
    ends[:-1][same] = begins[1:][same]
    kinds = np.asarray([str(each) for each in state], dtype=np.str_)
    seen = np.fmin(np.asarray(last_seen_on, "datetime64[D]"), begins)
    serving, missing = kinds == ServiceStateKind.IN_SERVICE.value, kinds == ServiceStateKind.NOT_LOCATED.value
    return (
        Spells(devices[serving], begins[serving], ends[serving]),
        Spells(devices[missing], seen[missing], ends[missing]),
    )


def exposed(serving: Spells, away: Sequence[Spells], window: Window) -> Spells:
    """The stretches of exposure inside the window: disjoint, in order of device and day.

    `serving`: in the inventory and in service. `away`: holds, the missing, whatever else takes it out of service.
    Spells of either kind may overlap, and a day counts once.
    """
    return without(serving, together(away), window.start, window.end)


def days_of(exposure: Spells, devices: ArrayLike) -> Ids:
    """The days of exposure of each of `devices`, which come in any order; 0 where it has none."""
    asked = np.asarray(devices, np.int64)
    if not len(exposure):
        return np.zeros(asked.shape, np.int64)
    known, place = np.unique(exposure.device, return_inverse=True)
    days = np.bincount(place, exposure.days).astype(np.int64)
    at = np.minimum(np.searchsorted(known, asked), len(known) - 1)
    return np.where(known[at] == asked, days[at], 0)


def days_by_value(exposure: Spells, attribute: ValuedSpells) -> DaysByValue:
    """Whose days they were: the days of `exposure` on which the attribute had each value.

    A day on which a device had two values counts for both; one that is said twice counts once. Days without a value
    are nobody's: the sum may be smaller than the exposure.
    """
    spells = attribute.spells
    if not len(exposure) or not len(spells):
        return DaysByValue(*(np.zeros(0, np.int64) for _ in range(3)))
    devices, device_at = np.unique(spells.device, return_inverse=True)
    values, value_at = np.unique(attribute.value, return_inverse=True)
    pairs = Spells(device_at * len(values) + value_at, spells.from_on, spells.until_on)
    start, end = exposure.from_on.min(), exposure.until_on.max()
    once = without(pairs, Spells.of([]), start, end)
    device = devices[once.device // len(values)]
    days = days_within(exposure, Spells(device, once.from_on, once.until_on))
    pair, place = np.unique(once.device, return_inverse=True)
    summed = np.bincount(place, days, minlength=len(pair)).astype(np.int64)
    pair, summed = pair[summed > 0], summed[summed > 0]
    return DaysByValue(devices[pair // len(values)], values[pair % len(values)], summed)


def years(days: ArrayLike) -> NDArray[np.float64]:
    """Device-years of these days."""
    return np.asarray(np.asarray(days) / DAYS_IN_A_YEAR)
