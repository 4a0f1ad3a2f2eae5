"""The lines of a session, against the sheet that they answer."""

import datetime as dt
from collections import Counter
from collections.abc import Iterable, Mapping, Sequence
from dataclasses import asdict, dataclass
from decimal import Decimal, InvalidOperation
from typing import Any

from pmcore.engines.readings import Bounds, Side
from pmcore.engines.vocabulary import DateCodeState, EnergySource, Outcome, StepKind
from pmcore.models import InspectionSession, Reading, TestInstrument
from pmcore.models.rows import Row
from pmcore.queries.calibrations import calibrations, good_on
from pmcore.queries.columns import BadValue
from pmcore.queries.sheets import LimitOnDay, SheetStep, largest, limits_on, steps_of
from pmcore.services.refusals import RecordRefused, UnknownReference
from pmcore.services.values import check_values

Number = str | Decimal

IMPLAUSIBLE_FACTOR = 1_000  # so many times a step's limit, a number is a slip of the finger or of the unit

_PAIRS = {StepKind.ANGLE_PAIR, StepKind.TRAVEL}
_NUMBERS = {StepKind.MEASURE, StepKind.COUNT} | _PAIRS
_DONE = {Outcome.PASSED, Outcome.FAILED}


class ReadingRefused(RecordRefused):
    """A line cannot stand as it was given. `step` says which."""

    def __init__(self, step: str, fault: str) -> None:
        super().__init__(f"{step}: {fault}")
        self.step, self.fault = step, fault


class UnknownStep(ReadingRefused):
    """The sheet has no such step, or not on this energy source."""


class StepTwice(ReadingRefused):
    """One session answers a step (on an energy source) once."""


class NotApplicableRefused(ReadingRefused):
    """The sheet does not allow "not applicable" here."""


class AsFoundMissing(ReadingRefused):
    """A step that measures or counts says what was found."""


class UnitMissing(ReadingRefused):
    """A number means nothing without its unit."""


class WrongUnit(ReadingRefused):
    """The step is read in another unit."""


class NotANumber(ReadingRefused):
    """A reading is a decimal number, as a string."""


class ImplausibleNumber(ReadingRefused):
    """Not finite, or more than a thousand times the step's limit."""


class OutcomeContradicts(ReadingRefused):
    """A number beyond its limit is no pass. What is set right at once stays failed, with what it was left at."""


class AnswerNotKept(ReadingRefused):
    """The record cannot keep what stands in the line: unseen characters, too many digits or letters."""


class InstrumentMissing(ReadingRefused):
    """The step wants to know with which instrument it was done."""


class InstrumentOverdue(ReadingRefused):
    """The instrument was overdue for calibration on the day: what it reads answers no step."""


class NothingAnswered(RecordRefused):
    """A session without a reading says nothing."""


@dataclass(frozen=True, slots=True, kw_only=True)
class ReadingLine:
    """How one step was answered. The columns are those of a reading; numbers are decimal strings with a unit."""

    step: str
    outcome: Outcome
    energy_source: EnergySource | None = None
    as_found: Number | None = None
    as_found_second: Number | None = None
    as_left: Number | None = None
    as_left_second: Number | None = None
    unit: str | None = None
    date_code: str | None = None
    date_code_state: DateCodeState | None = None
    operable: bool | None = None
    attempts: int | None = None
    helper: int | None = None
    instrument: int | None = None
    note: str | None = None

    @property
    def numbers(self) -> list[Number]:
        given = (self.as_found, self.as_found_second, self.as_left, self.as_left_second)
        return [number for number in given if number is not None]

    def row(self, session: Row) -> Row:
        values: dict[str, Any] = asdict(self)
        return Row(Reading, session=session, **values)


def check_readings(lines: Sequence[ReadingLine], *, version: int, on: dt.date, known: int) -> None:
    """Each line answers a step of the version's sheet as the sheet wants it, with instruments good on the day.

    Raises ReadingRefused (its subclasses say why), NothingAnswered, UnknownReference.
    """
    if not lines:
        raise NothingAnswered("A session without a reading says nothing.")
    steps = steps_of([version], known).get(version, ())
    limits = limits_on({step.limit for step in steps if step.limit is not None}, on, known)
    for (step_key, _), times in Counter((line.step, line.energy_source) for line in lines).items():
        if times > 1:
            raise StepTwice(step_key, "it is answered twice")
    for line in lines:
        step = _step_of(line, steps)
        _check_answer(line, step)
        _check_numbers(line, step, limits)
        _check_kept(line)
    _check_instruments(lines, on, known)


def _step_of(line: ReadingLine, steps: Iterable[SheetStep]) -> SheetStep:
    asked = next((step for step in steps if step.is_asked_by(line.step, line.energy_source)), None)
    if asked is None:
        source = f" on {line.energy_source}" if line.energy_source else ""
        raise UnknownStep(line.step, f"the sheet has no such step{source}")
    return asked


def _check_answer(line: ReadingLine, step: SheetStep) -> None:
    if line.outcome == Outcome.NOT_APPLICABLE and not step.not_applicable_allowed:
        raise NotApplicableRefused(line.step, "it cannot be left out as not applicable")
    if line.outcome not in _DONE:
        return
    if step.kind in _NUMBERS and line.as_found is None:
        raise AsFoundMissing(line.step, "what was found is missing")
    if step.kind in _PAIRS and line.as_found_second is None:
        raise AsFoundMissing(line.step, "the second number of what was found is missing")
    if step.instrument_wanted and line.instrument is None:
        raise InstrumentMissing(line.step, "the instrument is missing")


def _check_numbers(line: ReadingLine, step: SheetStep, limits: Mapping[int, LimitOnDay]) -> None:
    limit = limits.get(step.limit) if step.limit is not None else None
    unit = step.unit or (limit.unit if limit else None)
    if line.numbers and line.unit is None:
        raise UnitMissing(line.step, "the unit is missing")
    if line.numbers and unit is not None and line.unit != unit:
        raise WrongUnit(line.step, f"it is read in {unit}, not in {line.unit}")
    bound = largest(step.low, step.high, *((limit.low, limit.high) if limit else ()))
    for number in line.numbers:
        _check_plausible(line.step, number, bound)
        if line.outcome == Outcome.PASSED:
            _check_within(line.step, number, unit, step.bounds(limit))


def _check_within(step: str, number: Number, unit: str | None, bounds: Bounds) -> None:
    side = bounds.side(Decimal(number))
    if side is not Side.WITHIN:
        limit = bounds.low if side is Side.BELOW else bounds.high
        said = f"{number} {unit or ''}".strip()
        raise OutcomeContradicts(step, f"{said} is {side} the limit {limit}: record it as failed")


def _check_plausible(step: str, number: Number, bound: Decimal | None) -> None:
    if not isinstance(number, str | Decimal):
        raise NotANumber(step, f"a decimal number as a string is wanted, not {number!r}")
    try:
        value = Decimal(number)
    except InvalidOperation:
        raise NotANumber(step, f"{number!r} is no decimal number") from None
    if not value.is_finite():
        raise ImplausibleNumber(step, f"{number} is not finite")
    if bound and abs(value) > IMPLAUSIBLE_FACTOR * bound:  # a limit of zero bounds nothing
        raise ImplausibleNumber(step, f"{number} is more than {IMPLAUSIBLE_FACTOR} times its limit")


def _check_kept(line: ReadingLine) -> None:
    try:
        check_values(line.row(Row(InspectionSession)))
    except BadValue as bad:
        raise AnswerNotKept(line.step, f"{bad.column.replace('_', ' ')}: {bad.fault}") from bad


def _check_instruments(lines: Iterable[ReadingLine], on: dt.date, known: int) -> None:
    used = {line.instrument: line.step for line in lines if line.instrument is not None}
    missing = used.keys() - set(TestInstrument.objects.filter(pk__in=used).values_list("pk", flat=True))
    if missing:
        raise UnknownReference("test_instrument", sorted(missing))
    histories = calibrations(known) if used else {}
    for instrument, step in used.items():
        if not good_on(histories.get(instrument, ()), on):
            raise InstrumentOverdue(step, f"the instrument {instrument} was not in calibration on {on}")
