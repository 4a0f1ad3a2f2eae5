"""The lines of a sheet: what each step takes, and what is refused before it can be believed."""

import datetime as dt
from dataclasses import replace
from decimal import Decimal

import pytest

from pmcore.engines.vocabulary import EnergySource, Outcome, StepKind
from pmcore.models import (
    Calibration,
    Limit,
    LimitValue,
    ProcedureSheet,
    ProcedureVersion,
    Reading,
    TestInstrument,
    VersionApproval,
)
from pmcore.models.rows import Row
from pmcore.services.readings import (
    AnswerNotKept,
    AsFoundMissing,
    ImplausibleNumber,
    InstrumentMissing,
    InstrumentOverdue,
    NotANumber,
    NotApplicableRefused,
    NothingAnswered,
    ReadingLine,
    StepTwice,
    UnitMissing,
    UnknownStep,
    WrongUnit,
)
from pmcore.services.refusals import UnknownReference
from tests.bench_cast import BRAKES, LABELS, RAISING, Bench, a_bench, a_step, assert_refused, moment, recorded
from tests.cast import JANUARY
from tests.history import day, written

pytestmark = pytest.mark.django_db

JUNE_15 = moment(6, 15)


@pytest.fixture
def bench() -> Bench:
    return a_bench()


def line_refused(error: type[Exception], bench: Bench, *lines: ReadingLine, says: str | None = None) -> None:
    assert_refused(error, lambda: recorded(bench, JUNE_15, *lines), says)


def test_a_session_answers_something(bench: Bench) -> None:
    assert_refused(NothingAnswered, lambda: recorded(bench, JUNE_15, readings=[]))


def test_a_step_stands_on_the_sheet_with_its_energy_source(bench: Bench) -> None:
    line_refused(UnknownStep, bench, replace(BRAKES, step="castors"), says="castors")
    line_refused(UnknownStep, bench, replace(RAISING, energy_source=EnergySource.BATTERY), says="on battery")
    line_refused(UnknownStep, bench, replace(RAISING, energy_source=None))


def test_a_step_is_answered_once_on_each_energy_source(bench: Bench) -> None:
    line_refused(StepTwice, bench, BRAKES, replace(BRAKES, outcome=Outcome.FAILED))
    recorded(
        bench,
        JUNE_15,
        replace(BRAKES, energy_source=EnergySource.MAINS),
        replace(BRAKES, energy_source=EnergySource.BATTERY),
    )
    assert Reading.objects.current().count() == 2


def test_not_applicable_only_where_the_sheet_allows_it(bench: Bench) -> None:
    line_refused(NotApplicableRefused, bench, replace(BRAKES, outcome=Outcome.NOT_APPLICABLE))
    recorded(bench, JUNE_15, BRAKES, replace(LABELS, outcome=Outcome.NOT_APPLICABLE))
    assert Reading.objects.current().count() == 2


def test_a_number_has_the_unit_of_its_step(bench: Bench) -> None:
    line_refused(UnitMissing, bench, bench.leakage(unit=None))
    line_refused(WrongUnit, bench, bench.leakage(unit="mA"), says="µA")
    line_refused(UnitMissing, bench, replace(LABELS, as_left="3"))
    recorded(bench, JUNE_15, replace(LABELS, as_left="3", unit="mm"))
    assert Reading.objects.current().get().unit == "mm"


def test_a_step_that_measures_says_what_was_found_unless_it_was_not_done(bench: Bench) -> None:
    line_refused(AsFoundMissing, bench, bench.leakage(None, as_left="80"))
    recorded(bench, JUNE_15, bench.leakage(None, outcome=Outcome.NOT_TESTED, instrument=None))
    assert Reading.objects.current().get().outcome == "not_tested"


@pytest.mark.parametrize("number", ["500001", "-500000.1", Decimal("1e6"), "NaN", "Infinity", "-Infinity"])
def test_a_number_out_of_any_plausible_range_is_refused(bench: Bench, number: str | Decimal) -> None:
    line_refused(ImplausibleNumber, bench, bench.leakage(number))
    line_refused(ImplausibleNumber, bench, bench.leakage(as_left=number))


def test_a_thousand_times_the_limit_is_still_taken(bench: Bench) -> None:
    recorded(bench, JUNE_15, bench.leakage("500000", outcome=Outcome.FAILED))
    assert Reading.objects.current().get().as_found == "500000"


@pytest.mark.parametrize("number", ["12,5", "twelve", "", 12.5])
def test_a_number_is_a_decimal_string(bench: Bench, number: object) -> None:
    line_refused(NotANumber, bench, bench.leakage(number))


def test_more_digits_than_the_record_keeps_are_refused(bench: Bench) -> None:
    line_refused(AnswerNotKept, bench, bench.leakage("1.0123456789"), says="leakage: as found")


def test_digits_of_another_script_are_refused(bench: Bench) -> None:
    line_refused(AnswerNotKept, bench, bench.leakage("٨٥"), says="leakage: as found")


def test_a_step_that_wants_an_instrument_gets_one_that_exists(bench: Bench) -> None:
    line_refused(InstrumentMissing, bench, bench.leakage(instrument=None))
    line_refused(UnknownReference, bench, bench.leakage(instrument=999_999), says="test_instrument")


def test_an_instrument_is_good_through_its_last_day(bench: Bench) -> None:
    reading = bench.leakage(instrument=bench.old_meter)
    assert_refused(InstrumentOverdue, lambda: recorded(bench, moment(6, 1), reading), "2026-06-01")
    recorded(bench, moment(5, 31), reading)
    assert Reading.objects.current().get().instrument_id == bench.old_meter


def test_calibrated_anew_it_reads_again_and_out_of_tolerance_it_does_not(bench: Bench) -> None:
    reading = bench.leakage(instrument=bench.old_meter)
    for on, outcome in [("2026-06-10", "out_of_tolerance_and_adjusted"), ("2026-06-20", "out_of_tolerance")]:
        calibrated = Row(
            Calibration, instrument=bench.old_meter, performed_on=day(on), good_until_on=day("2027-06-10"),
            outcome=outcome,
        )  # fmt: skip
        written("instrument_calibrated", bench.old_meter, calibrated)
    recorded(bench, moment(6, 10), reading)
    assert Reading.objects.current().get().instrument_id == bench.old_meter
    assert_refused(InstrumentOverdue, lambda: recorded(bench, moment(6, 20), reading))


def test_an_instrument_that_was_never_calibrated_reads_nothing(bench: Bench) -> None:
    new = Row(TestInstrument)
    written("instrument_registered", new, new)
    line_refused(InstrumentOverdue, bench, bench.leakage(instrument=new.id))


def a_sheet_with(bench: Bench, kind: StepKind, **values: object) -> int:
    """A second version with this one step, called `arm`."""
    version = Row(ProcedureVersion, procedure=bench.procedure, number=2)
    sheet = Row(ProcedureSheet, version=version, title="Arm only", minutes=5, people=1)
    written("version_written", version, version, sheet, a_step(sheet, 1, "arm", kind, **values))
    assert version.id is not None
    approval = {"version": version.id, "from_on": JANUARY, "approved": True, "approved_by": bench.odile.person}
    written("version_approved", version.id, Row(VersionApproval, **approval))
    return version.id


@pytest.mark.parametrize("kind", [StepKind.ANGLE_PAIR, StepKind.TRAVEL])
def test_a_pair_has_two_numbers(bench: Bench, kind: StepKind) -> None:
    version = a_sheet_with(bench, kind, unit="deg")
    one = ReadingLine(step="arm", outcome=Outcome.PASSED, as_found="14.5", unit="deg")
    assert_refused(AsFoundMissing, lambda: recorded(bench, JUNE_15, one, version=version), "second")
    recorded(bench, JUNE_15, replace(one, as_found_second="15.0"), version=version)
    assert Reading.objects.current().get().as_found_second == "15.0"


def test_a_limit_of_the_table_gives_unit_and_plausible_range_as_of_the_day(bench: Bench) -> None:
    limit = Row(Limit)
    values = {"name": "Arm force", "unit": "N", "edition": "2026", "source": "Local policy"}
    written(
        "limit_named", limit, limit,
        Row(LimitValue, limit=limit, from_on=JANUARY, low="-2", high="1", **values),
        Row(LimitValue, limit=limit, from_on=dt.date(2026, 7, 1), high="1", **values),
    )  # fmt: skip
    version = a_sheet_with(bench, StepKind.MEASURE, limit=limit.id)
    found = ReadingLine(step="arm", outcome=Outcome.FAILED, as_found="2000", unit="N")
    assert_refused(WrongUnit, lambda: recorded(bench, JUNE_15, replace(found, unit="kN"), version=version), "in N")
    assert_refused(ImplausibleNumber, lambda: recorded(bench, moment(7, 1), found, version=version))
    recorded(bench, JUNE_15, found, version=version)
    assert Reading.objects.current().get().as_found == "2000"
