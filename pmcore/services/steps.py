"""The lines of a sheet, checked before a version is written."""

from collections import Counter
from collections.abc import Sequence
from dataclasses import asdict, dataclass
from decimal import Decimal
from typing import Any

from pmcore.engines.vocabulary import EnergySource, StepKind, Subsystem
from pmcore.models import LimitValue, Step
from pmcore.models.rows import Row
from pmcore.queries.columns import Fault, column_of
from pmcore.services.refusals import RecordRefused

_HAS_UNIT = {StepKind.MEASURE, StepKind.ANGLE_PAIR, StepKind.TRAVEL}
_take_quantity = column_of(Step._meta.get_field("low")).take


class NoMandatoryStep(RecordRefused):
    """A sheet without a mandatory step would be complete before anybody began."""


class StepRefused(RecordRefused):
    """A step cannot stand as it was written. `step` says which."""

    def __init__(self, step: str, fault: str) -> None:
        super().__init__(f"{step}: {fault}")
        self.step, self.fault = step, fault


class DuplicateStep(StepRefused):
    """Readings refer to a step by its key: a sheet has each key once."""


class StepWithoutUnit(StepRefused):
    """What measures says in which unit."""


class StepWithoutCount(StepRefused):
    """What counts says how many there should be."""


class LimitNotANumber(StepRefused):
    """A limit is a decimal number, as a string."""


class LimitsOutOfOrder(StepRefused):
    """No value lies between the limits."""


class LimitFixedAndFromTable(StepRefused):
    """A limit stands on the sheet, or it comes from the table of limits; two would contradict one another one day."""


class LimitInOtherUnit(StepRefused):
    """The table has the limit in another unit than the step is read in."""


@dataclass(frozen=True, slots=True, kw_only=True)
class StepLine:
    """One line of a sheet; the columns are those of a step, whose number is its place. Limits are decimal strings in
    the step's unit and count as allowed values unless `low_included` or `high_included` is false; `limit` names a row
    of the table of limits instead."""

    key: str
    kind: StepKind
    prompt: str
    mandatory: bool = True
    not_applicable_allowed: bool = False
    subsystem: Subsystem | None = None
    position: int | None = None
    energy_source: EnergySource | None = None
    minutes: int | None = None
    unit: str | None = None
    low: str | Decimal | None = None
    low_included: bool | None = None
    high: str | Decimal | None = None
    high_included: bool | None = None
    limit: int | None = None
    expected_count: int | None = None
    as_left_wanted: bool | None = None
    instrument_wanted: bool | None = None

    def row(self, sheet: Row, number: int) -> Row:
        values: dict[str, Any] = asdict(self)
        for side in ("low", "high"):
            if values[side] is not None and values[f"{side}_included"] is None:
                values[f"{side}_included"] = True
        return Row(Step, sheet=sheet, number=number, **values)


def check_steps(steps: Sequence[StepLine]) -> None:
    """Raises StepRefused (its subclasses say why), NoMandatoryStep."""
    if not any(step.mandatory for step in steps):
        raise NoMandatoryStep("At least one step is mandatory.")
    for key, times in Counter(step.key for step in steps).items():
        if times > 1:
            raise DuplicateStep(key, f"the key stands {times} times on the sheet")
    for step in steps:
        _check_units(step)
        _check_limits(step)
    _check_table_units(steps)


def _check_units(step: StepLine) -> None:
    if step.kind in _HAS_UNIT and step.unit is None:
        raise StepWithoutUnit(step.key, "the unit is missing")
    if step.kind == StepKind.COUNT and (step.expected_count is None or step.expected_count < 1):
        raise StepWithoutCount(step.key, "how many there should be is missing")


def _check_limits(step: StepLine) -> None:
    low, high = _number(step, step.low), _number(step, step.high)
    if step.limit is not None and (low is not None or high is not None):
        raise LimitFixedAndFromTable(step.key, "the limit is fixed, and from the table too")
    if low is None or high is None:
        return
    touching = low == high and False in (step.low_included, step.high_included)
    if low > high or touching:
        raise LimitsOutOfOrder(step.key, f"nothing lies between {low} and {high}")


def _number(step: StepLine, limit: str | Decimal | None) -> Decimal | None:
    try:
        wire = _take_quantity(limit)
    except Fault as fault:
        raise LimitNotANumber(step.key, str(fault)) from None
    return None if wire is None else Decimal(wire)


def _check_table_units(steps: Sequence[StepLine]) -> None:
    wanted = {step.limit for step in steps if step.limit is not None}
    units = LimitValue.objects.current().filter(limit__in=wanted).values_list("limit_id", "unit") if wanted else ()
    for limit, unit in units:
        for step in steps:
            if step.limit == limit and step.unit not in (None, unit):
                raise LimitInOtherUnit(step.key, f"the table has its limit in {unit}, the step is read in {step.unit}")
