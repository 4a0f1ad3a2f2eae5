"""The rules of completion, 1 to 24, as far as the worked examples leave something to ask. Rule 23 stands in
test_doubts.py, rule 25 in test_asked.py."""

import datetime as dt

import pytest

from pmcore.engines.compliance import Share
from pmcore.engines.due_dates import Window
from pmcore.engines.vocabulary import (
    AttemptOutcome,
    Basis,
    Counted,
    Departure,
    HoldReason,
    InspectionKind,
    Outcome,
    OwnershipKind,
    ReasonCode,
)
from pmcore.models import CarriedOver, DueInspection, ReasonNotDone
from pmcore.models.rows import Row
from pmcore.services.departures import leave_inventory
from pmcore.services.devices import move_device
from pmcore.services.figure_settings import set_value
from pmcore.services.holds import place_hold
from pmcore.services.loans import lend_device, receive_device
from pmcore.services.locating import find_again, mark_not_located
from pmcore.services.plans import end_plan
from pmcore.services.readings import ReadingLine
from pmcore.services.reasons import AttemptsMissing, record_reason
from pmcore.services.storage import store_device
from tests.history import written
from tests.story import Story, a_story, day, moment, numbers

pytestmark = pytest.mark.django_db

ALWAYS = (day(1, 1, 2023), day(12, 31, 2028))


def word(story: Story, as_of: dt.date, **options: object) -> Counted:
    """What the one due inspection of July 2026 counts as."""
    tally = story.report(as_of=as_of, **options).tally
    (found,) = [counted for counted in Counted if getattr(tally, counted)]
    assert getattr(tally, found) == 1
    return found


def test_rule_1_the_month_in_which_the_window_closes():
    story = a_story()
    assert story.report(day(6, 1), day(6, 30), as_of=day(8, 1)).tally.due == 0
    assert story.report(day(7, 15), day(7, 15), as_of=day(8, 1)).tally.due == 1
    assert story.report(day(7, 16), day(7, 31), as_of=day(8, 1)).tally.due == 0


def test_rule_2_windows_still_open_are_counted_apart():
    story = a_story()
    report = story.report(as_of=day(7, 15))
    assert (report.tally.due, report.tally.open) == (0, 1)
    report = story.report(as_of=day(7, 16))
    assert (report.tally.due, report.tally.open, report.tally.no_reason) == (1, 0, 1)


@pytest.mark.parametrize(
    ("on", "expected"),
    [
        (day(5, 16), Counted.MET),
        (day(7, 15), Counted.MET),
        (day(7, 16), Counted.MET_LATE),
        (day(5, 15), Counted.NO_REASON),
    ],
)
def test_rule_3_met_inside_the_window_both_ends_included(on, expected):
    story = a_story()
    story.inspect(on)
    assert word(story, day(7, 31)) == expected


def test_rule_3_a_reason_comes_after_met_late():
    story = a_story()
    story.search(day(6, 20))
    story.search(day(6, 25))
    assert word(story, day(7, 31)) == Counted.REASON_RECORDED
    story.inspect(day(8, 1))
    assert word(story, day(8, 1)) == Counted.MET_LATE
    assert word(story, day(7, 31)) == Counted.REASON_RECORDED


def test_rule_4_an_answer_that_is_none_completes_nothing():
    story = a_story()
    lines = [ReadingLine(step="frame", outcome=Outcome.PASSED), ReadingLine(step="brakes", outcome=Outcome.NOT_TESTED)]
    story.inspect(day(6, 10), readings=lines)
    assert word(story, day(7, 31)) == Counted.NO_REASON


@pytest.mark.parametrize(("apart", "expected"), [(14, Counted.MET), (15, Counted.NO_REASON)])
def test_rule_4_parts_too_far_apart_restart_the_steps(apart, expected):
    story = a_story()
    first = story.inspect(day(6, 1), steps=["frame"])
    story.inspect(day(6, 1) + dt.timedelta(days=apart), steps=["brakes"], inspection=first.first_id)
    assert word(story, day(7, 31)) == expected


def test_rule_4_the_days_after_which_parts_restart_are_a_setting():
    story = a_story()
    set_value(name="restart_days", value=20, from_on=day(6, 1), **story.by(day(6, 1)))
    first = story.inspect(day(6, 1), steps=["frame"])
    story.inspect(day(6, 21), steps=["brakes"], inspection=first.first_id)
    assert word(story, day(7, 31)) == Counted.MET


def test_rule_5_the_states_of_one_that_nobody_does():
    story = a_story()
    assert [word(story, on) for on in (day(5, 15), day(5, 16), day(7, 15), day(7, 16))] == [
        Counted.AHEAD, Counted.OPEN, Counted.OPEN, Counted.NO_REASON,
    ]  # fmt: skip


def test_rule_5_overdue_until_the_next_window_opens():
    story = a_story()
    story.sweep(day(6, 1, 2027))
    assert story.report(as_of=day(5, 15, 2027)).census == Share(1, 1)
    assert story.report(as_of=day(5, 16, 2027)).census == Share(0, 1)


def test_rule_6_one_inspection_satisfies_one_due_inspection():
    story = a_story()
    story.sweep(day(6, 1, 2027))
    story.inspect(day(7, 15))
    assert numbers(story.report(*ALWAYS, as_of=day(12, 31, 2027)))[1] == 2  # 2025 and 2026


@pytest.mark.parametrize(("on", "met"), [(day(12, 14, 2025), 0), (day(12, 15, 2025), 1)])
def test_rule_6_early_counts_after_half_the_interval(on, met):
    story = a_story(Basis.FLOATING, swept=[day(6, 16, 2025)])
    story.inspect(on)
    assert story.report().tally.met == met


def test_rule_7_the_floating_clock_runs_from_the_performed_day():
    story = a_story(Basis.FLOATING)
    story.inspect(day(6, 3), recorded=day(6, 29))
    story.sweep(day(6, 30))
    assert story.next_due_after(day(6, 30)) == day(6, 3, 2027)


def test_rule_8_a_late_inspection_meets_the_newest_that_has_opened():
    story = a_story(Basis.FLOATING)
    story.sweep(day(5, 16, 2027), day(5, 20, 2027))
    story.inspect(day(5, 21, 2027))
    first = story.report(as_of=day(12, 31, 2027))
    second = story.report(day(7, 1, 2027), day(7, 31, 2027), as_of=day(12, 31, 2027))
    assert (numbers(first), numbers(second)) == ((1, 0), (1, 1))


def test_rule_9_the_gap_of_a_kept_interval_is_no_gap():
    story = a_story()
    story.inspect(day(7, 15))
    assert story.report().lists.gaps == ()


def test_rule_10_left_on_the_due_date_itself_is_ended():
    story = a_story()
    leave_inventory(device=story.device, departure=Departure.SCRAPPED, from_on=day(6, 15), **story.by(day(6, 15)))
    assert word(story, day(7, 31)) == Counted.ENDED


def test_rule_11_a_plan_that_is_ended_leaves_open_windows_due():
    story = a_story(swept=(day(6, 16, 2025), day(5, 20)))
    end_plan(plan=story.plan, from_on=day(6, 1), **story.by(day(5, 31)))
    story.sweep(day(6, 2))
    assert word(story, day(7, 31)) == Counted.NO_REASON
    assert story.report(*ALWAYS, as_of=day(7, 31)).lists.withdrawn != ()


def test_rule_12_ending_a_plan_leaves_the_device_uncovered_and_the_percentage_as_it_was():
    story = a_story()
    story.sweep(day(7, 16))
    before = story.report(as_of=day(7, 31))
    end_plan(plan=story.plan, from_on=day(8, 1), **story.by(day(7, 31)))
    story.sweep(day(8, 1))
    after = story.report(as_of=day(8, 1))
    assert numbers(after) == numbers(before) == (1, 0)
    assert (before.coverage.share, after.coverage.share) == (Share(1, 1), Share(0, 1))
    assert [each.device for each in after.coverage.uncovered] == [story.device]


def test_rule_13_devices_with_everything_met():
    story = a_story(swept=())
    story.add_device("OM-2")
    story.sweep(day(6, 16, 2025), day(5, 1))
    story.inspect(day(6, 10))
    assert story.report().devices == Share(1, 2)


def test_rule_14_found_in_use_is_due_at_once():
    story = a_story(last_done=None, with_device=False, swept=())
    story.device = story.add_device("OM-3", day(6, 1), found_in_use=True)
    story.sweep(day(6, 1))
    assert DueInspection.objects.get(device=story.device, due_on=day(6, 1)).opens_on == day(6, 1)


def test_rule_15_ours_lent_out_is_still_due():
    story = a_story()
    lend_device(device=story.device, borrower="Halden Cove", from_on=day(5, 10), **story.by(day(5, 10)))
    story.sweep(day(5, 11))
    assert word(story, day(7, 31)) == Counted.NO_REASON


@pytest.mark.parametrize(("until_on", "due"), [(day(1, 3), 0), (day(1, 4), 1), (None, 1)])
def test_rule_15_a_loan_gets_a_periodic_plan_only_if_it_stays_longer_than_the_interval(until_on, due):
    story = a_story(last_done=None, with_device=False, swept=())
    on = day(1, 3, 2025)
    story.device = receive_device(
        device_model=story.model, serial="OM-9", kind=OwnershipKind.ON_LOAN, area=story.areas[0], from_on=on,
        until_on=until_on, **story.by(on),
    ).subject  # fmt: skip
    story.inspect(on, kind=InspectionKind.INCOMING)
    story.sweep(day(1, 4, 2025), day(5, 1))
    assert story.report().tally.due == due


def test_rule_16_a_tag_that_moves_takes_nothing_along():
    story = a_story(swept=())
    second = story.add_device("OM-2")
    story.sweep(day(6, 16, 2025), day(5, 1))
    story.inspect(day(6, 10), device=second)
    report = story.report()
    assert numbers(report) == (2, 1)
    assert story.report().devices == Share(1, 2)


def test_rule_17_a_move_on_the_due_date_counts_at_the_new_site():
    story = a_story()
    move_device(device=story.device, area=story.areas[1], from_on=day(6, 15), **story.by(day(6, 15)))
    assert word(story, day(7, 31), sites=frozenset({story.sites[1]})) == Counted.NO_REASON
    move_device(device=story.device, area=story.areas[0], from_on=day(6, 16), **story.by(day(6, 16)))
    assert word(story, day(7, 31), sites=frozenset({story.sites[1]})) == Counted.NO_REASON


@pytest.mark.parametrize(
    ("from_on", "sealed", "in_hand", "recorded", "expected"),
    [
        (day(5, 15), True, True, day(5, 15), Counted.SUSPENDED),
        (day(5, 16), True, True, day(5, 16), Counted.NO_REASON),
        (day(5, 1), True, True, day(5, 16), Counted.NO_REASON),
        (day(5, 1), False, True, day(5, 1), Counted.NO_REASON),
        (day(5, 1), True, False, day(5, 1), Counted.NO_REASON),
    ],
)
def test_rule_18_suspended_is_sealed_in_hand_and_recorded_before_the_window(
    from_on, sealed, in_hand, recorded, expected
):
    story = a_story()
    store_device(device=story.device, from_on=from_on, sealed=sealed, in_hand=in_hand, **story.by(recorded))
    assert word(story, day(7, 31)) == expected


def test_rule_18_on_hold_or_not_located_is_still_due():
    story = a_story()
    place_hold(device=story.device, reason=HoldReason.OTHER, from_on=day(5, 1), **story.by(day(5, 1)))
    mark_not_located(device=story.device, from_on=day(5, 2), **story.by(day(5, 2)))
    assert word(story, day(7, 31)) == Counted.NO_REASON


@pytest.mark.parametrize(
    ("second", "recorded", "expected"),
    [
        (day(7, 2), day(7, 17), Counted.REASON_RECORDED),  # two working days after Wednesday 15 July
        (day(7, 2), day(7, 18), Counted.NO_REASON),
        (day(6, 20), day(7, 2), Counted.NO_REASON),  # one day only
    ],
)
def test_rule_19_two_days_inside_the_window_recorded_in_time(second, recorded, expected):
    story = a_story()
    story.search(day(6, 20))
    story.search(second, recorded=recorded)
    assert word(story, day(7, 31)) == expected


def test_rule_19_the_days_of_search_are_a_setting_for_the_figure_and_for_a_reason():
    story = a_story()
    set_value(name="search_days", value=3, from_on=day(6, 1), **story.by(day(6, 1)))
    said = {"due_inspection": story.due().pk, "reason": ReasonCode.NOT_FOUND, "from_on": day(7, 3)}
    story.search(day(6, 20))
    story.search(day(7, 2))
    assert word(story, day(7, 31)) == Counted.NO_REASON
    with pytest.raises(AttemptsMissing):
        record_reason(**said, **story.by(day(7, 3)))
    story.search(day(7, 3))
    record_reason(**said, **story.by(day(7, 3)))
    assert word(story, day(7, 31)) == Counted.REASON_RECORDED


def test_rule_19_found_again_is_held():
    story = a_story()
    mark_not_located(device=story.device, from_on=day(5, 2), **story.by(day(5, 2)))
    find_again(device=story.device, from_on=day(8, 2), **story.by(day(8, 2)))
    assert word(story, day(8, 31)) == Counted.NO_REASON


def test_rule_20_a_reason_wants_its_evidence():
    story = a_story()
    with pytest.raises(AttemptsMissing):
        record_reason(
            due_inspection=story.due().pk, reason=ReasonCode.NO_ACCESS, from_on=day(7, 1), **story.by(day(7, 1))
        )
    story.search(day(7, 1), outcome=AttemptOutcome.NO_ACCESS)
    assert word(story, day(7, 31)) == Counted.NO_REASON  # one attempt is not a sentence yet
    record_reason(due_inspection=story.due().pk, reason=ReasonCode.NO_ACCESS, from_on=day(7, 1), **story.by(day(7, 1)))
    assert word(story, day(7, 31)) == Counted.REASON_RECORDED


def test_rule_20_a_reason_whose_evidence_was_taken_back_stands_no_more():
    story = a_story()
    held = place_hold(device=story.device, reason=HoldReason.WAITING_FOR_PART, from_on=day(6, 1), **story.by(day(6, 1)))
    record_reason(
        due_inspection=story.due().pk, reason=ReasonCode.WAITING_FOR_PART, from_on=day(7, 1), **story.by(day(7, 1))
    )
    assert word(story, day(7, 31)) == Counted.REASON_RECORDED
    from pmcore.models import HoldDetails

    wrong = HoldDetails.objects.get(entry=held.seq)
    written("hold_placed", story.device, replaces=[wrong], note="Another device.", at=moment(day(8, 1)))
    assert word(story, day(8, 1)) == Counted.NO_REASON
    assert ReasonNotDone.objects.current().exists()


def test_rule_22_late_entries_count_and_are_listed():
    story = a_story()
    story.inspect(day(6, 12), recorded=day(6, 17))  # Friday; Wednesday is the third working day
    assert story.report().lists.late_entered == ()
    story.add_device("OM-2")
    set_value(name="late_entry_working_days", value=9, from_on=day(7, 1), **story.by(day(7, 1)))
    assert story.report().lists.late_entered == ()
    set_value(name="late_entry_working_days", value=2, from_on=day(6, 1), **story.by(day(6, 1)))
    (late,) = story.report().lists.late_entered
    assert (late.completed_on, late.recorded_on) == (day(6, 12), day(6, 17))
    assert word(story, day(7, 31)) == Counted.MET


def test_rule_24_a_carried_over_date_sets_the_clock_and_meets_nothing():
    story = a_story(Basis.FLOATING, last_done=None, swept=())
    carried = Row(CarriedOver, device=story.device, procedure=story.procedure, performed_on=day(6, 15, 2025))
    written("carried_over", story.device, carried, at=moment(day(7, 1, 2025)))
    story.sweep(day(7, 2, 2025), day(5, 1))
    assert word(story, day(7, 31)) == Counted.NO_REASON
    assert story.report(*ALWAYS, as_of=day(7, 31)).tally.met == 0


def test_an_incoming_inspection_by_the_plans_procedure_meets_an_open_window():
    story = a_story()
    story.inspect(day(6, 10), kind=InspectionKind.INCOMING)
    assert word(story, day(7, 31)) == Counted.MET


def test_a_calendar_month_as_window():
    story = a_story(last_done=None, swept=())
    plan = story.add_plan(
        name="In June", device_model=None, device=story.device, window=Window.calendar_month(),
        anchor_on=day(6, 10, 2025), on=day(1, 3, 2025),
    )  # fmt: skip
    story.sweep(day(1, 4, 2025), day(5, 1))
    due = DueInspection.objects.get(plan=plan, due_on=day(6, 10))
    assert (due.opens_on, due.closes_on) == (day(6, 1), day(6, 30))
