"""Inspections that no plan calls for: recorded as any other, and ground for a release."""

from typing import Any

import pytest

from pmcore.engines.vocabulary import Basis, Departure, Discovery, HoldReason, InspectionKind, Outcome, Role
from pmcore.models import (
    DueInspection,
    FindingDetails,
    HoldDetails,
    InspectionSession,
    Procedure,
    ProcedureDetails,
)
from pmcore.models.rows import Row
from pmcore.queries.due_list import due_items
from pmcore.queries.head import head
from pmcore.queries.release_gate import holds_to_lift
from pmcore.queries.unplanned import procedures_for
from pmcore.queries.verification import verify
from pmcore.services.assignments import assign_inspections
from pmcore.services.bench import (
    AnotherSheet,
    OfADueInspection,
    record_due_inspection,
    record_unplanned_inspection,
)
from pmcore.services.departures import leave_inventory
from pmcore.services.generate_due import generate_due
from pmcore.services.inspections import AlreadyRecorded, VersionNotApproved
from pmcore.services.readings import ReadingLine
from pmcore.services.refusals import NotAllowed, RequestReused, UnknownReference, WrongSite
from pmcore.services.releases import ManagersJudgement
from pmcore.services.requests import Receipt, Request
from pmcore.services.service_states import HasLeft
from tests.bench_cast import (
    BRAKES,
    DUE,
    RAISING,
    Bench,
    a_bench,
    a_plan,
    a_version,
    assert_refused,
    moment,
    session_of,
)
from tests.cast import AT, a_device, a_person
from tests.due_work import somebody
from tests.fault_cast import JUNE_1, JUNE_10, a_line, found, in_force, released
from tests.history import written
from tests.story import STEPS, a_story, day
from tests.story import moment as story_moment

pytestmark = pytest.mark.django_db

NO_BRAKES = ReadingLine(step="brakes", outcome=Outcome.FAILED)


@pytest.fixture
def bench() -> Bench:
    return a_bench()


def inspected(bench: Bench, *readings: ReadingLine, hour: int = 10, **options: Any) -> Receipt:
    """A test after a repair, by default of the whole sheet, on the tenth of June."""
    given = {
        "device": bench.device, "kind": InspectionKind.AFTER_REPAIR, "version": bench.version,
        "started_at": moment(6, 10, hour - 1), "ended_at": moment(6, 10, hour),
        "readings": list(readings) or bench.whole_sheet, "actor": bench.ruan, "at": AT,
    }  # fmt: skip
    return record_unplanned_inspection(**given | options)


def failed_the_plan(bench: Bench) -> int:
    """The hold that the due inspection leaves behind."""
    receipt = record_due_inspection(
        due_inspection=bench.due, version=bench.version, started_at=moment(6, 1, 8), ended_at=moment(6, 1, 9),
        readings=[NO_BRAKES, RAISING, bench.leakage()], actor=bench.ruan, at=moment(6, 1, 10),
    )  # fmt: skip
    return int(HoldDetails.objects.get(entry=receipt.seq).hold_id)


def test_what_failed_is_repaired_tested_again_and_released_by_a_technician(bench):
    hold = failed_the_plan(bench)
    found(bench, a_line(step="brakes", discovery=Discovery.REPAIR))
    (held,) = (each for each in holds_to_lift(bench.device, JUNE_10, head().size) if each.hold == hold)
    assert (held.needs_manager, held.open_steps) == (True, ("brakes",))
    assert_refused(ManagersJudgement, lambda: released(bench, hold, actor=bench.ruan))
    inspected(bench)
    (held,) = (each for each in holds_to_lift(bench.device, JUNE_10, head().size) if each.hold == hold)
    assert (held.needs_manager, held.shown, held.open_steps) == (False, True, ())
    released(bench, hold, actor=bench.ruan, note=None, signed_at=moment(6, 10, 12))
    assert hold not in [each.hold for each in in_force(bench, JUNE_10)]
    assert verify().sound


def test_a_test_of_the_failed_step_alone_is_ground_too(bench):
    hold = failed_the_plan(bench)
    others = [ReadingLine(step="raising", outcome=Outcome.NOT_TESTED, energy_source=RAISING.energy_source)]
    inspected(bench, BRAKES, *others)
    released(bench, hold, actor=bench.ruan, note=None, signed_at=moment(6, 10, 12))
    assert in_force(bench, JUNE_10) == []


def test_a_test_that_failed_is_done_again_on_the_same_day_and_one_that_passed_is_not(bench):
    hold = failed_the_plan(bench)
    inspected(bench, NO_BRAKES, RAISING, bench.leakage())
    assert_refused(ManagersJudgement, lambda: released(bench, hold, actor=bench.ruan, signed_at=moment(6, 10, 11)))
    inspected(bench, hour=14)
    assert_refused(AlreadyRecorded, lambda: inspected(bench, hour=16))
    released(bench, hold, actor=bench.ruan, note=None, signed_at=moment(6, 10, 15))
    assert InspectionSession.objects.values("inspection").distinct().count() == 3


@pytest.mark.parametrize("kind", [InspectionKind.INCOMING, InspectionKind.ON_REQUEST, InspectionKind.AFTER_REPAIR])
def test_each_kind_is_recorded_as_the_actors_own_work(bench, kind):
    session = session_of(inspected(bench, kind=kind))
    assert (session.kind, session.person_id, session.performed_on) == (kind, bench.ruan.person, JUNE_10)
    assert session.inspection.device_id == bench.device


def test_what_fails_holds_the_device_and_what_is_found_is_recorded_with_it(bench):
    receipt = inspected(bench, NO_BRAKES, RAISING, bench.leakage(), findings=[a_line(step="brakes")])
    view = FindingDetails.objects.get(entry=receipt.seq)
    assert view.discovery == Discovery.REPAIR
    hold = HoldDetails.objects.get(entry=receipt.seq)
    assert (hold.reason, hold.finding_id) == (HoldReason.INSPECTION_FAILED, view.finding_id)


def test_by_the_plans_own_procedure_it_meets_an_open_window(bench):
    inspected(bench, kind=InspectionKind.ON_REQUEST)
    (item,) = due_items([bench.due], as_of=DUE, known=head().size, actor=bench.odile)
    assert (item.state, item.completed_on) == ("met", JUNE_10)


def test_a_floating_plan_names_its_next_day_at_once():
    story = a_story(Basis.FLOATING)
    before = DueInspection.objects.count()
    done = day(6, 1)
    record_unplanned_inspection(
        device=story.device, kind=InspectionKind.ON_REQUEST, version=story.version, started_at=story_moment(done, 9),
        ended_at=story_moment(done, 10), readings=[ReadingLine(step=step, outcome=Outcome.PASSED) for step in STEPS],
        actor=somebody("Ruan Tesk", Role.TECHNICIAN, story.begins_on, story.sites[0]), at=story_moment(done, 11),
    )  # fmt: skip
    assert DueInspection.objects.count() == before + 1
    generate_due(site=story.sites[0], as_of=done, at=story_moment(done, 12))
    assert DueInspection.objects.count() == before + 1


def test_a_retry_gets_the_first_receipt(bench):
    request = Request.of("k-1", "a test")
    first = inspected(bench, request=request)
    again = inspected(bench, request=request)
    assert (again.seq, again.repeated) == (first.seq, True)
    assert_refused(RequestReused, lambda: inspected(bench, request=Request.of("k-1", "another")))


def test_what_is_refused_is_refused_by_name(bench):
    stranger = a_person("Ines Caddock", Role.TECHNICIAN, bench.stennet)
    lead = a_person("Merete Sondvik", Role.CLINICAL_LEAD, bench.alderwick)
    elsewhere = a_version(written_procedure(bench), 1, bench)
    not_yet = a_version(bench.procedure, 2, bench, approved_from=None)
    for error, changed in [
        (OfADueInspection, {"kind": InspectionKind.SCHEDULED}),
        (UnknownReference, {"device": 10**9}),
        (UnknownReference, {"version": 10**9}),
        (AnotherSheet, {"version": elsewhere}),
        (VersionNotApproved, {"version": not_yet}),
        (WrongSite, {"actor": stranger}),
        (NotAllowed, {"actor": lead}),
    ]:
        assert_refused(error, lambda changed=changed: inspected(bench, **changed))


def test_a_provider_tests_what_they_were_given_and_nothing_else(bench):
    odd = a_person("Odd Ravnsborg", Role.PROVIDER, bench.alderwick)
    assert_refused(NotAllowed, lambda: inspected(bench, actor=odd))
    assign_inspections(
        due_inspections=[bench.due], person=odd.person or 0, on=JUNE_1, half=None, actor=bench.odile,
        at=moment(6, 1, 8),
    )  # fmt: skip
    assert session_of(inspected(bench, actor=odd)).person_id == odd.person


def test_a_provider_receives_no_device(bench):
    odd = a_person("Odd Ravnsborg", Role.PROVIDER, bench.alderwick)
    assign_inspections(
        due_inspections=[bench.due], person=odd.person or 0, on=JUNE_1, half=None, actor=bench.odile,
        at=moment(6, 1, 8),
    )  # fmt: skip
    assert_refused(NotAllowed, lambda: inspected(bench, actor=odd, kind=InspectionKind.INCOMING))


def test_a_device_that_left_is_not_inspected(bench):
    leave_inventory(
        device=bench.device, from_on=JUNE_1, departure=Departure.SCRAPPED, actor=bench.odile, at=moment(6, 1, 8)
    )  # fmt: skip
    assert_refused(HasLeft, lambda: inspected(bench))


def test_an_incoming_inspection_that_failed_is_done_again_on_the_same_day(bench):
    inspected(bench, NO_BRAKES, RAISING, bench.leakage(), kind=InspectionKind.INCOMING)
    inspected(bench, hour=14, kind=InspectionKind.INCOMING)
    assert_refused(AlreadyRecorded, lambda: inspected(bench, hour=16, kind=InspectionKind.INCOMING))


# Which procedures apply


def written_procedure(bench: Bench, name: str = "Lift, yearly") -> int:
    procedure = Row(Procedure)
    details = Row(ProcedureDetails, procedure=procedure, from_on=JUNE_1, name=name, withdrawn=False)
    return written("procedure_registered", procedure, procedure, details).subject


def names(bench: Bench, device: int | None = None) -> list[str]:
    return [each.name for each in procedures_for(device or bench.device, on=JUNE_10, known=head().size)]


def test_the_procedures_of_plans_apply_in_their_version_in_use(bench):
    newer = a_version(bench.procedure, 2, bench)
    (only,) = procedures_for(bench.device, on=JUNE_10, known=head().size)
    assert (only.procedure, only.name, only.version) == (bench.procedure, "Yearly check", newer)


def test_a_plan_for_another_device_brings_none_and_one_that_has_ended_neither(bench):
    other = a_device(bench.odile, bench.model, "OM-7", bench.theatre)
    for_other, ended = written_procedure(bench, "For the other"), written_procedure(bench, "Ended")
    for procedure in (for_other, ended):
        a_version(procedure, 1, bench)
    a_plan(bench, for_other, device_model=None, device=other)
    a_plan(bench, ended, ended=True)
    assert names(bench) == ["Yearly check"]
    assert names(bench, other) == ["For the other", "Yearly check"]


def test_what_a_device_of_the_model_was_inspected_by_applies_without_a_plan(bench):
    arrival = written_procedure(bench, "On arrival")
    version = a_version(arrival, 1, bench)
    a_plan(bench, arrival, device_model=None, device=bench.device)
    other = a_device(bench.odile, bench.model, "OM-7", bench.theatre)
    assert names(bench, other) == ["Yearly check"]
    inspected(bench, version=version, kind=InspectionKind.INCOMING)
    assert names(bench, other) == ["On arrival", "Yearly check"]
