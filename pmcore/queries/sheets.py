"""What a version's sheet asks for, step by step."""

import datetime as dt
from collections import defaultdict
from collections.abc import Collection
from dataclasses import dataclass, fields
from decimal import Decimal

from pmcore.engines.readings import Bounds
from pmcore.engines.vocabulary import Outcome
from pmcore.models import LimitValue, Step

_ANSWERS = {Outcome.PASSED, Outcome.FAILED, Outcome.PROTECTION_OPERATED}

StepName = tuple[str, str | None]
"""The key of a step and the energy source that it is done on; none: whichever the reading says."""


@dataclass(frozen=True, slots=True)
class SheetStep:
    """One line of a sheet. `low`, `high` and `unit` are the step's own; `limit` names a row of the table instead."""

    key: str
    kind: str
    energy_source: str | None
    mandatory: bool
    not_applicable_allowed: bool
    instrument_wanted: bool | None
    subsystem: str | None
    unit: str | None
    low: str | None
    high: str | None
    limit: int | None
    low_included: bool | None = None
    high_included: bool | None = None
    expected_count: int | None = None

    @property
    def name(self) -> StepName:
        return self.key, self.energy_source

    def is_asked_by(self, key: str, energy_source: str | None) -> bool:
        """Does a reading with this key and source belong to the step?"""
        return key == self.key and self.energy_source in (None, energy_source)

    def bounds(self, limit: "LimitOnDay | None") -> Bounds:
        """What its numbers are held against: how many there should be, the row of the table that it names, or its own
        limits."""
        if self.expected_count is not None:
            return Bounds(Decimal(self.expected_count), Decimal(self.expected_count))
        said = self if limit is None else limit
        low, high = (None if each is None else Decimal(each) for each in (said.low, said.high))
        return Bounds(low, high, said.low_included is not False, said.high_included is not False)

    def is_answered_by(self, outcome: str) -> bool:
        """ "Not tested" is no answer, and "not applicable" one only where the step allows it."""
        return outcome in _ANSWERS or (outcome == Outcome.NOT_APPLICABLE and self.not_applicable_allowed)


_COLUMNS = [field.name for field in fields(SheetStep)]


@dataclass(frozen=True, slots=True)
class LimitOnDay:
    """A limit as it stood on a day; `source`: its name and edition."""

    low: str | None
    high: str | None
    unit: str
    low_included: bool | None = None
    high_included: bool | None = None
    source: str = ""


def steps_of(versions: Collection[int], known: int) -> dict[int, tuple[SheetStep, ...]]:
    """The steps of each version in order, as known at a size of the history: one statement."""
    rows = Step.objects.known(known).filter(sheet__version__in=versions).order_by("sheet__version", "number", "id")
    found: dict[int, list[SheetStep]] = defaultdict(list)
    for version, *values in rows.values_list("sheet__version_id", *_COLUMNS):
        found[version].append(SheetStep(*values))
    return {version: tuple(steps) for version, steps in found.items()}


def limits_on(limits: Collection[int], on: dt.date, known: int) -> dict[int, LimitOnDay]:
    """The limits in force on the day: one statement."""
    rows = LimitValue.objects.known(known).on(on).filter(limit__in=limits)
    columns = ("limit_id", "low", "high", "unit", "low_included", "high_included", "name", "edition")
    return {
        limit: LimitOnDay(low, high, unit, low_in, high_in, f"{name}, {edition}")
        for limit, low, high, unit, low_in, high_in, name, edition in rows.values_list(*columns)
    }


def largest(*limits: str | None) -> Decimal | None:
    """The limit furthest from zero; None where there is none."""
    return max((abs(Decimal(limit)) for limit in limits if limit is not None), default=None)
