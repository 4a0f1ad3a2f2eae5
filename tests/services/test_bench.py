"""What is recorded for a due inspection, and what follows from it in the same act."""

from typing import Any

import pytest

from pmcore.engines.vocabulary import Basis, Departure, InspectionKind, Outcome, Role
from pmcore.models import DueInspection, HoldDetails
from pmcore.queries.due_list import due_items
from pmcore.queries.head import head
from pmcore.services.assignments import assign_inspections
from pmcore.services.bench import AnotherSheet, InspectedAlready, NothingToInspect, record_due_inspection
from pmcore.services.departures import leave_inventory
from pmcore.services.generate_due import generate_due
from pmcore.services.inspections import AlreadyRecorded, record_inspection
from pmcore.services.re_anchoring import NothingToAnchorTo
from pmcore.services.readings import NothingAnswered, OutcomeContradicts, ReadingLine
from pmcore.services.refusals import NotAllowed, RequestReused, UnknownReference
from pmcore.services.requests import Receipt, Request
from tests.bench_cast import BRAKES, RAISING, a_bench
from tests.bench_cast import moment as bench_moment
from tests.cast import AT as BENCH_AT
from tests.cast import check_refused
from tests.due_work import somebody
from tests.story import STEPS, Story, a_story, day, moment

pytestmark = pytest.mark.django_db

DONE = day(6, 1)


def a_technician(story: Story):
    return somebody("Ruan Tesk", Role.TECHNICIAN, story.begins_on, story.sites[0])


def work_on(story: Story, **changed: Any) -> dict[str, Any]:
    given = {
        "due_inspection": story.due().pk, "version": story.version, "started_at": moment(DONE, 9),
        "ended_at": moment(DONE, 10), "readings": [ReadingLine(step=step, outcome=Outcome.PASSED) for step in STEPS],
        "at": moment(DONE, 11),
    }  # fmt: skip
    return given | changed


def state(story: Story, on=DONE) -> str:
    item = due_items([story.due().pk], as_of=on, known=head().size, actor=story.manager)[0]
    return item.state.value


def test_a_whole_sheet_meets_it():
    story = a_story()
    ruan = a_technician(story)
    receipt = record_due_inspection(**work_on(story, actor=ruan))
    assert isinstance(receipt, Receipt)
    assert state(story) == "met"


def test_part_of_the_sheet_leaves_it_open_and_a_further_session_closes_it():
    story = a_story()
    ruan = a_technician(story)
    first = [ReadingLine(step=STEPS[0], outcome=Outcome.PASSED)]
    begun = record_due_inspection(**work_on(story, actor=ruan, readings=first))
    assert state(story) == "open"
    rest = [ReadingLine(step=STEPS[1], outcome=Outcome.PASSED)]
    record_due_inspection(
        **work_on(story, actor=ruan, readings=rest, inspection=begun.first_id, started_at=moment(DONE, 10, 30),
                  ended_at=moment(DONE, 10, 45))
    )  # fmt: skip
    assert state(story) == "met"


def test_what_fails_holds_the_device_in_the_same_entry():
    story = a_story()
    failed = [ReadingLine(step=step, outcome=Outcome.FAILED) for step in STEPS]
    receipt = record_due_inspection(**work_on(story, actor=a_technician(story), readings=failed))
    assert HoldDetails.objects.filter(entry=receipt.seq).values_list("reason", flat=True).get() == "inspection_failed"


def test_a_floating_plan_names_its_next_day_at_once_and_the_sweep_finds_nothing_left():
    story = a_story(Basis.FLOATING)
    assert story.next_due_after(DONE) == day(6, 15)
    record_due_inspection(**work_on(story, actor=a_technician(story)))
    assert DueInspection.objects.filter(device=story.device).order_by("-due_on").first().due_on == day(6, 1, 2027)
    swept = generate_due(site=story.sites[0], as_of=DONE, at=moment(DONE, 12))
    assert (swept.added, swept.withdrawn) == (0, 0)


def test_an_anchored_plan_keeps_its_days():
    story = a_story()
    before = list(DueInspection.objects.filter(device=story.device).values_list("due_on", flat=True))
    story.sweep(DONE)
    swept = list(DueInspection.objects.filter(device=story.device).values_list("due_on", flat=True))
    record_due_inspection(**work_on(story, actor=a_technician(story)))
    after = list(DueInspection.objects.filter(device=story.device).values_list("due_on", flat=True))
    assert set(before) <= set(after)
    assert after == swept


def test_an_anchored_plan_counts_from_early_work_if_that_is_said():
    story = a_story()
    early = {"started_at": moment(day(5, 10), 9), "ended_at": moment(day(5, 10), 10), "at": moment(day(5, 10), 11)}
    record_due_inspection(**work_on(story, actor=a_technician(story), re_anchor=True, **early))
    assert state(story, day(5, 10)) == "met"
    assert story.next_due_after(day(6, 15)) == day(5, 10, 2027)
    swept = generate_due(site=story.sites[0], as_of=day(5, 10), at=moment(day(5, 10), 12))
    assert (swept.added, swept.withdrawn) == (0, 0)


def test_early_work_leaves_an_anchored_plan_as_it_is_if_nothing_is_said():
    story = a_story()
    early = {"started_at": moment(day(5, 10), 9), "ended_at": moment(day(5, 10), 10), "at": moment(day(5, 10), 11)}
    record_due_inspection(**work_on(story, actor=a_technician(story), **early))
    assert state(story, day(5, 10)) == "ahead"


def test_part_of_the_sheet_moves_no_plan():
    story = a_story()
    early = {"started_at": moment(day(5, 10), 9), "ended_at": moment(day(5, 10), 10), "at": moment(day(5, 10), 11)}
    part = [ReadingLine(step=STEPS[0], outcome=Outcome.PASSED)]
    ruan = a_technician(story)
    with check_refused(NothingToAnchorTo):
        record_due_inspection(**work_on(story, actor=ruan, re_anchor=True, readings=part, **early))


def test_other_devices_of_the_site_are_left_to_the_sweep():
    story = a_story(Basis.FLOATING)
    other = story.add_device("N-1", on=day(5, 30))
    record_due_inspection(**work_on(story, actor=a_technician(story)))
    assert not DueInspection.objects.filter(device=other).exists()


def test_a_double_submit_records_once_and_gives_the_first_receipt():
    story = a_story()
    ruan = a_technician(story)
    request = Request.of("bench-1", {"due": 1})
    first = record_due_inspection(**work_on(story, actor=ruan, request=request))
    size = head().size
    again = record_due_inspection(**work_on(story, actor=ruan, request=request, at=moment(DONE, 12)))
    assert (again.seq, again.repeated) == (first.seq, True)
    assert head().size == size
    with check_refused(RequestReused):
        record_due_inspection(**work_on(story, actor=ruan, request=Request.of("bench-1", {"due": 2})))


def test_of_two_people_the_second_is_told_who_was_first():
    story = a_story()
    record_due_inspection(**work_on(story, actor=a_technician(story)))
    with check_refused(InspectedAlready, "inspected on 2026-06-01 by Ruan Tesk"):
        record_due_inspection(**work_on(story, actor=story.manager))


def test_of_two_people_with_part_of_the_sheet_the_second_is_refused():
    story = a_story()
    first = [ReadingLine(step=STEPS[0], outcome=Outcome.PASSED)]
    record_due_inspection(**work_on(story, actor=a_technician(story), readings=first))
    with check_refused(AlreadyRecorded):
        record_due_inspection(**work_on(story, actor=story.manager))


def test_what_has_ended_is_refused():
    story = a_story()
    leave_inventory(device=story.device, departure=Departure.SOLD, from_on=DONE, **story.by(DONE, hour=8))
    ruan = a_technician(story)
    with check_refused(NothingToInspect, "is ended"):
        record_due_inspection(**work_on(story, actor=ruan))


def test_a_sheet_of_another_procedure_is_refused():
    story = a_story()
    _, version = story.add_procedure("Function check")
    ruan = a_technician(story)
    with check_refused(AnotherSheet):
        record_due_inspection(**work_on(story, actor=ruan, version=version))


@pytest.mark.parametrize("role", [Role.AUDITOR, Role.CLINICAL_LEAD])
def test_who_inspects_nothing_records_nothing(role):
    story = a_story()
    actor = somebody("Quen Audley-Marr", role, story.begins_on, story.sites[0])
    with check_refused(NotAllowed):
        record_due_inspection(**work_on(story, actor=actor))


def test_another_sites_device_is_not_there():
    story = a_story()
    tove = somebody("Tove Halvard-Quist", Role.TECHNICIAN, story.begins_on, story.sites[1])
    with check_refused(UnknownReference):
        record_due_inspection(**work_on(story, actor=tove))
    with check_refused(UnknownReference):
        record_due_inspection(**work_on(story, actor=tove, due_inspection=10**9))


def test_nothing_answered_is_refused():
    story = a_story()
    ruan = a_technician(story)
    with check_refused(NothingAnswered):
        record_due_inspection(**work_on(story, actor=ruan, readings=[]))


@pytest.mark.parametrize(
    ("number", "outcome", "stands"),
    [("500", "passed", True), ("500.1", "passed", False), ("500.1", "failed", True), ("12", "failed", True)],
)
def test_a_number_beyond_its_limit_is_no_pass(number, outcome, stands):
    bench = a_bench()
    lines = [BRAKES, RAISING, bench.leakage(number, outcome=Outcome(outcome))]
    given = {
        "due_inspection": bench.due, "version": bench.version, "started_at": bench_moment(6, 1, 9),
        "ended_at": bench_moment(6, 1, 10), "readings": lines, "actor": bench.ruan, "at": BENCH_AT,
    }  # fmt: skip
    if stands:
        assert record_due_inspection(**given).seq
    else:
        with check_refused(OutcomeContradicts, "500.1 µA is above the limit 500: record it as failed"):
            record_due_inspection(**given)


def test_what_was_set_right_at_once_stays_failed_and_may_say_what_it_was_left_at():
    bench = a_bench()
    left = bench.leakage("640", outcome=Outcome.PASSED, as_left="80")
    given = {
        "due_inspection": bench.due, "version": bench.version, "started_at": bench_moment(6, 1, 9),
        "ended_at": bench_moment(6, 1, 10), "actor": bench.ruan, "at": BENCH_AT,
    }  # fmt: skip
    with check_refused(OutcomeContradicts):
        record_due_inspection(**given, readings=[BRAKES, RAISING, left])
    right = bench.leakage("640", outcome=Outcome.FAILED, as_left="80")
    assert record_due_inspection(**given, readings=[BRAKES, RAISING, right]).seq


def test_a_provider_records_what_they_were_given_and_nothing_else():
    story = a_story()
    pavel = somebody("Pavel Orrin-Dask", Role.PROVIDER, story.begins_on, story.sites[0])
    other = story.add_device("N-1", on=DONE)
    line = [ReadingLine(step=step, outcome=Outcome.PASSED) for step in STEPS]
    direct = {
        "kind": InspectionKind.SCHEDULED, "version": story.version, "person": pavel.person, "actor": pavel,
        "started_at": moment(DONE, 9), "performed_at": moment(DONE, 10), "ended_at": moment(DONE, 10),
        "readings": line, "at": moment(DONE, 11),
    }  # fmt: skip
    with check_refused(UnknownReference):
        record_due_inspection(**work_on(story, actor=pavel))
    with check_refused(NotAllowed, "given to them"):
        record_inspection(device=story.device, **direct)
    assert pavel.person is not None
    assign_inspections(
        due_inspections=[story.due().pk], person=pavel.person, on=DONE, half=None, actor=story.manager,
        at=moment(DONE, 8),
    )  # fmt: skip
    with check_refused(NotAllowed, "given to them"):
        record_inspection(device=other, **direct)
    record_due_inspection(**work_on(story, actor=pavel))
    assert state(story) == "met"
