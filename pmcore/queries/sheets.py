"""What a version's sheet asks for, step by step."""

import datetime as dt
from collections import defaultdict
from collections.abc import Collection
from dataclasses import dataclass, fields
from decimal import Decimal

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

    @property
    def name(self) -> StepName:
        return self.key, self.energy_source

    def is_asked_by(self, key: str, energy_source: str | None) -> bool:
        """Does a reading with this key and source belong to the step?"""
        return key == self.key and self.energy_source in (None, energy_source)

    def is_answered_by(self, outcome: str) -> bool:
        """ "Not tested" is no answer, and "not applicable" one only where the step allows it."""
        return outcome in _ANSWERS or (outcome == Outcome.NOT_APPLICABLE and self.not_applicable_allowed)


_COLUMNS = [field.name for field in fields(SheetStep)]


@dataclass(frozen=True, slots=True)
class LimitOnDay:
    """A limit as it stood on a day."""

    low: str | None
    high: str | None
    unit: str


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
    values = rows.values_list("limit_id", "low", "high", "unit")
    return {limit: LimitOnDay(low, high, unit) for limit, low, high, unit in values}


def largest(*limits: str | None) -> Decimal | None:
    """The limit furthest from zero; None where there is none."""
    return max((abs(Decimal(limit)) for limit in limits if limit is not None), default=None)
