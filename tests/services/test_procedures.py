"""Procedures: written, approved and withdrawn; and the sheets that are refused."""

import datetime as dt
from collections.abc import Callable
from decimal import Decimal
from typing import Any

import pytest

from pmcore.engines.records import SYSTEM
from pmcore.engines.vocabulary import EnergySource, Role, StepKind, Subsystem
from pmcore.models import (
    Caution,
    CoveredProcedure,
    Limit,
    LimitValue,
    ProcedureDetails,
    ProcedureSheet,
    ProcedureVersion,
    Step,
    VersionApproval,
)
from pmcore.models.rows import Row
from pmcore.queries.columns import BadValue
from pmcore.queries.head import head
from pmcore.queries.verification import verify
from pmcore.services.procedures import (
    AlreadyApproved,
    CoversItself,
    EffortUnclear,
    ProcedureInUse,
    ProcedureWithdrawn,
    VersionTaken,
    approve_version,
    register_procedure,
    withdraw_procedure,
    write_version,
)
from pmcore.services.refusals import NotAllowed, UnknownReference
from pmcore.services.requests import Receipt, Request
from pmcore.services.steps import (
    DuplicateStep,
    LimitFixedAndFromTable,
    LimitInOtherUnit,
    LimitNotANumber,
    LimitsOutOfOrder,
    NoMandatoryStep,
    StepLine,
    StepWithoutCount,
    StepWithoutUnit,
)
from tests.cast import AT, JANUARY, Hospital, a_person, a_plan, a_procedure
from tests.history import written

pytestmark = pytest.mark.django_db

TODAY = AT.date()
TOMORROW = TODAY + dt.timedelta(days=1)

LOOK = StepLine(key="frame", kind=StepKind.LOOK, prompt="Is the frame free of cracks?", subsystem=Subsystem.STRUCTURE)


@pytest.fixture
def procedure(hospital: Hospital) -> int:
    return register_procedure(name="Yearly check", from_on=JANUARY, actor=hospital.odile, at=AT).subject


def a_step(**columns: Any) -> StepLine:
    asked = {"key": "leakage", "kind": StepKind.MEASURE, "prompt": "Earth leakage current", "unit": "mA"}
    return StepLine(**{**asked, **columns})


def a_version(hospital: Hospital, procedure: int, **changed: Any) -> Receipt:
    asked: dict[str, Any] = {"number": 1, "title": "Yearly check", "minutes": 40, "people": 1, "steps": [LOOK]}
    return write_version(**{**asked, "procedure": procedure, "actor": hospital.odile, "at": AT, **changed})


def a_limit(unit: str) -> int:
    limit = Row(Limit)
    values = {"name": "Earth leakage", "high": "5.0", "unit": unit, "edition": "2", "source": "Department's copy"}
    return written("limit_named", limit, limit, Row(LimitValue, limit=limit, from_on=JANUARY, **values)).subject


def refused(error: type[Exception], deed: Callable[[], object]) -> None:
    size = head().size
    with pytest.raises(error):
        deed()
    assert head().size == size


def test_a_version_is_written_whole(hospital: Hospital, procedure: int) -> None:
    monthly = register_procedure(name="Monthly check", from_on=JANUARY, actor=hospital.odile, at=AT).subject
    measured = a_step(high=Decimal("5.0"), instrument_wanted=True, energy_source=EnergySource.MAINS)
    version = a_version(
        hospital, procedure, steps=[LOOK, measured], cautions=["Support the load.", "Hands clear."], covers=[monthly],
        source="Department's own",
    ).subject  # fmt: skip
    sheet = ProcedureSheet.objects.current().get(version=version)
    assert (sheet.title, sheet.minutes, sheet.people, sheet.source) == ("Yearly check", 40, 1, "Department's own")
    steps = Step.objects.current().filter(sheet=sheet).order_by("number")
    assert list(steps.values_list("number", "key", "kind", "unit", "high", "high_included", "low_included")) == [
        (1, "frame", "look", None, None, None, None),
        (2, "leakage", "measure", "mA", "5.0", True, None),
    ]
    cautions = Caution.objects.current().filter(sheet=sheet).order_by("number")
    assert list(cautions.values_list("prompt", flat=True)) == ["Support the load.", "Hands clear."]
    assert CoveredProcedure.objects.current().get(sheet=sheet).procedure_id == monthly
    assert verify().sound


@pytest.mark.parametrize(
    ("steps", "error"),
    [
        ([], NoMandatoryStep),
        ([a_step(mandatory=False)], NoMandatoryStep),
        ([LOOK, LOOK], DuplicateStep),
        ([a_step(unit=None)], StepWithoutUnit),
        ([a_step(kind=StepKind.ANGLE_PAIR, unit=None)], StepWithoutUnit),
        ([a_step(kind=StepKind.TRAVEL, unit=None)], StepWithoutUnit),
        ([a_step(kind=StepKind.COUNT)], StepWithoutCount),
        ([a_step(kind=StepKind.COUNT, expected_count=0)], StepWithoutCount),
        ([a_step(low="5", high="4.9")], LimitsOutOfOrder),
        ([a_step(low="10", high="9")], LimitsOutOfOrder),
        ([a_step(low="5", high="5.0", high_included=False)], LimitsOutOfOrder),
        ([a_step(low="about 5")], LimitNotANumber),
        ([a_step(high="1e3")], LimitNotANumber),
        ([a_step(high="NaN")], LimitNotANumber),
        ([a_step(high=0.5)], LimitNotANumber),
        ([a_step(high="0", limit=1)], LimitFixedAndFromTable),
        ([a_step(prompt="")], BadValue),
        ([a_step(limit=999_999)], UnknownReference),
    ],
)
def test_a_sheet_that_makes_no_sense_is_refused(
    hospital: Hospital, procedure: int, steps: list[StepLine], error: type[Exception]
) -> None:
    refused(error, lambda: a_version(hospital, procedure, steps=steps))
    assert not ProcedureVersion.objects.exists()


def test_a_refusal_says_which_step_is_wrong(hospital: Hospital, procedure: int) -> None:
    with pytest.raises(StepWithoutUnit, match="leakage: the unit is missing") as caught:
        a_version(hospital, procedure, steps=[LOOK, a_step(unit=None)])
    assert caught.value.step == "leakage"


def test_limits_may_touch_and_a_function_needs_no_energy_source(hospital: Hospital, procedure: int) -> None:
    function = StepLine(key="raise", kind=StepKind.FUNCTION, prompt="Does the table rise?")
    counted = a_step(key="bolts", kind=StepKind.COUNT, unit=None, expected_count=4)
    version = a_version(hospital, procedure, steps=[function, counted, a_step(low="-5", high="-5.0")]).subject
    assert Step.objects.current().filter(sheet__version=version).count() == 3


def test_a_limit_out_of_the_table_is_in_the_unit_of_the_step(hospital: Hospital, procedure: int) -> None:
    limit = a_limit("µA")
    refused(LimitInOtherUnit, lambda: a_version(hospital, procedure, steps=[a_step(limit=limit)]))
    version = a_version(hospital, procedure, steps=[a_step(limit=limit, unit="µA")]).subject
    assert Step.objects.current().get(sheet__version=version).limit_id == limit


@pytest.mark.parametrize(
    ("changed", "error"),
    [
        ({"minutes": 0}, EffortUnclear),
        ({"people": 0}, EffortUnclear),
        ({"procedure": 999_999}, UnknownReference),
        ({"covers": [999_999]}, UnknownReference),
    ],
)
def test_a_version_that_makes_no_sense_is_refused(
    hospital: Hospital, procedure: int, changed: dict[str, Any], error: type[Exception]
) -> None:
    refused(error, lambda: a_version(hospital, **{"procedure": procedure, **changed}))


def test_a_version_does_not_cover_its_own_procedure(hospital: Hospital, procedure: int) -> None:
    refused(CoversItself, lambda: a_version(hospital, procedure, covers=[procedure]))


def test_a_number_is_used_once_in_a_procedure(hospital: Hospital, procedure: int) -> None:
    other = register_procedure(name="Monthly check", from_on=JANUARY, actor=hospital.odile, at=AT).subject
    a_version(hospital, procedure)
    refused(VersionTaken, lambda: a_version(hospital, procedure))
    a_version(hospital, procedure, number=2)
    a_version(hospital, other)
    assert ProcedureVersion.objects.filter(procedure=procedure).count() == 2


def test_a_version_is_approved_once_by_a_person_of_the_record(hospital: Hospital, procedure: int) -> None:
    version = a_version(hospital, procedure).subject
    deed = {"version": version, "from_on": JANUARY, "actor": hospital.odile, "at": AT}
    ruan = hospital.ruan.person
    assert ruan is not None
    refused(UnknownReference, lambda: approve_version(approved_by=999_999, **deed))
    refused(UnknownReference, lambda: approve_version(approved_by=ruan, **{**deed, "version": 999_999}))
    approve_version(approved_by=ruan, **deed)
    approval = VersionApproval.objects.current().on(JANUARY).get(version=version)
    assert (approval.approved, approval.approved_by_id) == (True, ruan)
    refused(AlreadyApproved, lambda: approve_version(approved_by=ruan, **{**deed, "from_on": TODAY}))


@pytest.mark.parametrize(
    "role",
    [Role.AUDITOR, Role.CLINICAL_LEAD, Role.PROVIDER, Role.TECHNICIAN, Role.SCHEDULER, Role.ADMINISTRATOR],
)
def test_only_a_manager_writes_approves_and_withdraws(hospital: Hospital, procedure: int, role: Role) -> None:
    version = a_version(hospital, procedure).subject
    other = a_person("Wim Ostrava-Keel", role, hospital.alderwick)
    by_other: dict[str, Any] = {"actor": other, "at": AT, "from_on": JANUARY}
    refused(NotAllowed, lambda: register_procedure(name="Mine", **by_other))
    refused(NotAllowed, lambda: a_version(hospital, procedure, number=2, actor=other))
    refused(NotAllowed, lambda: approve_version(version=version, approved_by=other.person or 0, **by_other))
    refused(NotAllowed, lambda: withdraw_procedure(procedure=procedure, **by_other))


def test_a_withdrawn_procedure_keeps_its_name_and_is_approved_no_more(hospital: Hospital, procedure: int) -> None:
    version = a_version(hospital, procedure).subject
    deed = {"procedure": procedure, "actor": hospital.odile, "at": AT}
    withdraw_procedure(from_on=TODAY, **deed)
    details = ProcedureDetails.objects.current()
    assert [details.on(day).get(procedure=procedure).withdrawn for day in (JANUARY, TODAY)] == [False, True]
    assert details.on(TODAY).get(procedure=procedure).name == "Yearly check"
    refused(ProcedureWithdrawn, lambda: withdraw_procedure(from_on=TOMORROW, **deed))
    approval = {"version": version, "approved_by": hospital.odile.person, "actor": hospital.odile, "at": AT}
    refused(ProcedureWithdrawn, lambda: approve_version(from_on=TODAY, **approval))
    refused(UnknownReference, lambda: withdraw_procedure(from_on=TODAY, **{**deed, "procedure": 999_999}))


@pytest.mark.parametrize("plan_from_on", [TODAY, TOMORROW])
def test_a_procedure_that_a_plan_calls_for_is_not_withdrawn(hospital: Hospital, plan_from_on: dt.date) -> None:
    procedure = a_procedure(hospital.odile)
    a_plan(hospital.odile, procedure, device=hospital.device, from_on=plan_from_on)
    refused(
        ProcedureInUse,
        lambda: withdraw_procedure(procedure=procedure, from_on=TODAY, actor=hospital.odile, at=AT),
    )


def test_retries_get_the_first_receipts(hospital: Hospital, procedure: int) -> None:
    by_odile: dict[str, Any] = {"actor": hospital.odile, "at": AT, "from_on": TODAY}
    version = a_version(hospital, procedure).subject
    deeds: dict[str, Callable[..., Receipt]] = {
        "register": lambda request: register_procedure(name="Monthly check", request=request, **by_odile),
        "write": lambda request: a_version(hospital, procedure, number=2, request=request),
        "approve": lambda request: approve_version(
            version=version, approved_by=hospital.odile.person or 0, request=request, **by_odile
        ),
        "withdraw": lambda request: withdraw_procedure(procedure=procedure, request=request, **by_odile),
    }
    for key, deed in deeds.items():
        request = Request.of(key, {})
        first, again = deed(request), deed(request)
        assert (again.seq, again.repeated) == (first.seq, True)


def test_the_service_itself_may_bring_procedures_in(hospital: Hospital) -> None:
    procedure = register_procedure(name="Brought along", from_on=JANUARY, actor=SYSTEM, at=AT).subject
    assert ProcedureDetails.objects.current().get(procedure=procedure).name == "Brought along"
