"""The worked examples of the completion rules, each told through services and asked of the query.

12 months, window 30 days before and after; due 2026-06-15, window 05-16 to 07-15; the inspection before on 2025-06-15
unless said. The figure is July 2026, the month in which the window closes: due, met.
"""

import pytest

from pmcore.engines.compliance import Share
from pmcore.engines.records import SYSTEM
from pmcore.engines.vocabulary import (
    Basis,
    Departure,
    Grouping,
    InspectionKind,
    Outcome,
    OwnershipKind,
    ReasonCode,
    RiskClass,
    Role,
)
from pmcore.models import Device, HoldDetails
from pmcore.queries.head import head
from pmcore.services.departures import leave_inventory, return_device, swap_device
from pmcore.services.devices import move_device
from pmcore.services.loans import receive_device
from pmcore.services.people import register_person
from pmcore.services.plans import declare_no_plan_needed
from pmcore.services.reasons import NotOnHold, record_reason
from pmcore.services.risk import override_risk
from pmcore.services.storage import store_device, take_out_of_storage
from pmcore.services.usage import record_use_seen
from tests.story import a_story, day, moment, numbers

pytestmark = pytest.mark.django_db


def test_example_1_floating_done_early():
    story = a_story(Basis.FLOATING)
    story.inspect(day(5, 10))
    story.sweep(day(5, 11), day(8, 1))
    report = story.report()
    assert numbers(report) == (1, 1)
    assert [each.completed_on for each in report.lists.early] == [day(5, 10)]
    assert story.next_due_after(day(8, 1)) == day(5, 10, 2027)


def test_example_2_anchored_done_before_the_window_earns_nothing():
    story = a_story()
    story.inspect(day(5, 10))
    story.sweep(day(5, 11), day(8, 1))
    report = story.report()
    assert numbers(report) == (1, 0)
    assert report.tally.no_reason == 1
    assert report.lists.early == ()


def test_example_3_re_anchored_by_the_same_act():
    story = a_story()
    story.inspect(day(5, 10), re_anchor_plan=story.plan)
    story.sweep(day(5, 11), day(8, 1))
    report = story.report()
    assert numbers(report) == (1, 1)
    assert [each.completed_on for each in report.lists.early] == [day(5, 10)]
    assert story.next_due_after(day(8, 1)) == day(5, 10, 2027)


def test_example_4_done_on_the_last_day_by_the_clock_of_the_site():
    story = a_story()
    done_at = moment(day(7, 15), 23, 50)
    assert done_at.date() == day(7, 16)  # in UTC
    story.inspect(day(7, 15), done_at=done_at)
    assert numbers(story.report()) == (1, 1)


@pytest.mark.parametrize(
    ("counts_from", "next_due"), [(Basis.ANCHORED, day(6, 15, 2027)), (Basis.FLOATING, day(7, 16, 2027))]
)
def test_example_5_done_a_day_late(counts_from, next_due):
    story = a_story(counts_from)
    story.inspect(day(7, 16))
    story.sweep(day(7, 17), day(8, 1))
    report = story.report(as_of=day(7, 31))
    assert numbers(report) == (1, 0)
    assert report.tally.met_late == 1
    assert story.next_due_after(day(8, 1)) == next_due


def test_example_6_two_met_inspections_too_far_apart():
    story = a_story(last_done=day(5, 20, 2025))
    story.inspect(day(7, 10))
    report = story.report()
    assert numbers(report) == (1, 1)
    (gap,) = report.lists.gaps
    assert (gap.previous_on, gap.completed_on) == (day(5, 20, 2025), day(7, 10))
    assert (gap.completed_on - gap.previous_on).days == 416
    assert (gap.latest_on - gap.previous_on).days == 395


@pytest.mark.parametrize("done", [False, True])
def test_example_7_left_before_the_due_date(done):
    story = a_story()
    if done:
        story.inspect(day(6, 1))
    leave_inventory(device=story.device, departure=Departure.SOLD, from_on=day(6, 10), **story.by(day(6, 10)))
    story.sweep(day(6, 11))
    report = story.report()
    assert numbers(report) == (0, 0)
    assert report.tally.ended == 1
    assert [each.left_on for each in report.lists.ended] == [day(6, 10)]
    assert str(report.tally.share) == "no data"


def test_example_8_left_after_the_due_date():
    story = a_story()
    leave_inventory(device=story.device, departure=Departure.SOLD, from_on=day(6, 20), **story.by(day(6, 20)))
    story.sweep(day(6, 21))
    report = story.report()
    assert numbers(report) == (1, 0)
    assert (report.tally.no_reason, report.tally.ended) == (1, 0)


def test_example_9_a_departure_recorded_after_the_close():
    story = a_story()
    leave_inventory(device=story.device, departure=Departure.SOLD, from_on=day(6, 10), **story.by(day(7, 20)))
    story.sweep(day(7, 21))
    report = story.report()
    assert numbers(report) == (1, 0)
    assert (report.tally.reason_recorded, report.tally.no_reason) == (1, 0)


def test_example_10_moved_after_the_due_date():
    story = a_story()
    move_device(device=story.device, area=story.areas[1], from_on=day(7, 1), **story.by(day(7, 1)))
    story.sweep(day(7, 2))
    story.inspect(day(7, 5))
    at_a = story.report(sites=frozenset({story.sites[0]}))
    assert numbers(at_a) == (1, 1)
    assert [each.moved_on for each in at_a.lists.moved] == [day(7, 1)]
    assert numbers(story.report(sites=frozenset({story.sites[1]}))) == (0, 0)


def test_example_11_searched_twice_and_done_later():
    story = a_story()
    story.search(day(6, 20))
    story.search(day(7, 2))
    story.inspect(day(8, 3))
    july, august = story.report(as_of=day(7, 31)), story.report(as_of=day(8, 31))
    assert numbers(july) == numbers(august) == (1, 0)
    assert (july.tally.reason_recorded, july.tally.met_late) == (1, 0)
    assert (august.tally.reason_recorded, august.tally.met_late) == (0, 1)


def test_example_12_the_searches_were_recorded_too_late():
    story = a_story()
    story.search(day(6, 20), recorded=day(8, 1))
    story.search(day(7, 2), recorded=day(8, 1))
    report = story.report(as_of=day(8, 31))
    assert numbers(report) == (1, 0)
    assert (report.tally.reason_recorded, report.tally.no_reason) == (0, 1)


def test_example_13_the_last_mandatory_step_came_late():
    story = a_story()
    first = story.inspect(day(7, 10), steps=["frame"])
    story.inspect(day(7, 18), steps=["brakes"], inspection=first.first_id)
    report = story.report()
    assert numbers(report) == (1, 0)
    assert report.tally.met_late == 1


def test_example_14_complete_and_failed():
    story = a_story()
    story.inspect(day(6, 15), outcome=Outcome.FAILED)
    assert numbers(story.report()) == (1, 1)
    assert HoldDetails.objects.current().on(day(6, 16)).filter(hold__device=story.device).exists()


@pytest.mark.parametrize(("declared", "met", "devices_met"), [(True, 2, 1), (False, 1, 0)])
def test_example_15_one_inspection_for_two_plans(declared, met, devices_met):
    story = a_story(last_done=None, with_device=False, swept=())
    chert = story.add_model("Chert")
    story.device = story.add_device("OC-1", device_model=chert)
    half_yearly, _ = story.add_procedure("Half-yearly check")
    yearly, version = story.add_procedure("Yearly check, large", covers=[half_yearly] if declared else [])
    for procedure, every in ((half_yearly, 6), (yearly, 12)):
        story.add_plan(procedure=procedure, every=every, device_model=chert, anchor_on=day(6, 15, 2025))
    story.sweep(day(1, 3, 2025), day(12, 1, 2025), day(6, 1))
    story.inspect(day(6, 10), version=version)
    report = story.report()
    assert numbers(report) == (2, met)
    assert report.devices == Share(devices_met, 1)


def test_example_16_floating_and_never_done_for_years():
    story = a_story(Basis.FLOATING, last_done=day(6, 15, 2023), begins_on=day(1, 2, 2023), swept=())
    story.sweep(*(day(month, 1, year) for year in (2023, 2024, 2025, 2026) for month in (1, 6, 7) if year > 2023))
    story.inspect(day(6, 20))
    story.sweep(day(6, 21))
    report = story.report(day(1, 1, 2023), day(12, 31), as_of=day(12, 31))
    assert numbers(report) == (3, 1)
    assert report.tally.no_reason == 2


def test_example_17_an_incoming_inspection_before_the_first_due_date():
    story = a_story(last_done=None, with_device=False, swept=())
    story.device = story.add_device("OM-2", day(6, 1))
    story.inspect(day(6, 1), kind=InspectionKind.INCOMING)
    story.sweep(day(6, 2), day(8, 1))
    assert numbers(story.report()) == (0, 0)
    assert story.next_due_after(day(6, 1)) == day(6, 15, 2027)


def test_example_18_on_loan_and_used_before_its_incoming_inspection():
    story = a_story(last_done=None, with_device=False, swept=())
    story.device = receive_device(
        device_model=story.model, serial="OM-9", kind=OwnershipKind.ON_LOAN, area=story.areas[0], from_on=day(6, 1),
        until_on=day(6, 20), **story.by(day(6, 1)),
    ).subject  # fmt: skip
    record_use_seen(device=story.device, on=day(6, 1), **story.by(day(6, 1)))
    story.inspect(day(6, 2), kind=InspectionKind.INCOMING)
    story.sweep(day(6, 2))
    return_device(device=story.device, from_on=day(6, 20), **story.by(day(6, 20)))
    story.sweep(day(6, 21), day(8, 1))
    june = story.report(day(6, 1), day(7, 31))
    assert numbers(june) == (0, 0)
    (arrival,) = june.arrivals
    assert (arrival.arrived_on, arrival.used_on, arrival.inspected_on) == (day(6, 1), day(6, 1), day(6, 2))


def test_example_19_a_swapped_serial_number_inherits_no_credit():
    story = a_story()
    swap_device(device=story.device, serial="OM-1B", from_on=day(6, 18), **story.by(day(6, 18)))
    (successor,) = Device.objects.exclude(pk=story.device).values_list("pk", flat=True)
    story.inspect(day(6, 19), device=successor, kind=InspectionKind.INCOMING)
    story.sweep(day(6, 20), day(8, 1))
    report = story.report()
    assert numbers(report) == (1, 0)
    assert [each.device for each in story.report(as_of=day(7, 31)).lists.high_risk_misses] == []
    assert report.tally.no_reason == 1


def test_example_20_sealed_before_the_window_opened():
    story = a_story()
    store_device(device=story.device, from_on=day(5, 1), sealed=True, in_hand=True, **story.by(day(5, 1)))
    story.sweep(day(5, 2))
    take_out_of_storage(device=story.device, from_on=day(8, 1), **story.by(day(8, 1)))
    report = story.report(as_of=day(8, 1))
    assert numbers(report) == (0, 0)
    assert report.tally.suspended == 1
    assert [each.sealed_on for each in report.lists.suspended] == [day(5, 1)]
    assert HoldDetails.objects.current().on(day(8, 1)).filter(hold__device=story.device).exists()


def test_example_21_a_downgrade_inside_the_window_looks_forward():
    story = a_story()
    other = register_person(
        name="Ines Caddock",
        role=Role.MANAGER,
        sites=story.sites,
        from_on=story.begins_on,
        actor=SYSTEM,
        at=moment(story.begins_on),
    ).subject
    override_risk(
        device=story.device, risk_class=RiskClass.HIGH_RISK, reason="Lifts people.", signed_by=story.person,
        from_on=day(1, 5), **story.by(day(1, 5)),
    )  # fmt: skip
    override_risk(
        device=story.device, risk_class=RiskClass.OTHER, reason="Out of use for that.", signed_by=story.person,
        second_signature=other, from_on=day(6, 1), **story.by(day(6, 1)),
    )  # fmt: skip
    report = story.report(group_by=Grouping.RISK_CLASS)
    assert [(group.key, group.tally.due) for group in report.groups] == [(RiskClass.HIGH_RISK, 1)]
    assert [each.device for each in report.lists.high_risk_misses] == [story.device]


def test_example_22_waiting_for_a_part_without_a_hold():
    story = a_story()
    size = head().size
    with pytest.raises(NotOnHold):
        record_reason(
            due_inspection=story.due().pk, reason=ReasonCode.WAITING_FOR_PART, from_on=day(7, 1),
            **story.by(day(7, 1)),
        )  # fmt: skip
    assert head().size == size


def test_example_23_coverage_names_the_uncovered():
    story = a_story(last_done=None, with_device=False, swept=())
    other = story.add_model("Chert")
    for number in range(90):
        story.add_device(f"P-{number}")
    rest = [story.add_device(f"N-{number}", device_model=other) for number in range(10)]
    for device in rest[:6]:
        declare_no_plan_needed(
            device=device, reason="A stool.", signed_by=story.person, from_on=day(1, 2, 2025),
            **story.by(day(1, 2, 2025)),
        )  # fmt: skip
    coverage = story.report().coverage
    assert coverage.share == Share(96, 100)
    assert [each.device for each in coverage.uncovered] == rest[6:]


def test_example_24_below_a_hundred_shows_at_most_99_9():
    assert str(Share(1_999, 2_000)) == "99.9 %"
    assert str(Share(2_000, 2_000)) == "100.0 %"
