"""Plans become due inspections: once each, whatever was missed, and withdrawn only where nobody could have begun."""

from typing import Any

import pytest

from pmcore.engines.records import SYSTEM
from pmcore.engines.vocabulary import Departure
from pmcore.models import (
    CarriedOver,
    DueInspection,
    PlanAnchor,
    SiteSweep,
    Withdrawal,
)
from pmcore.models.rows import Row
from pmcore.queries.head import head
from pmcore.queries.verification import verify
from pmcore.services.append import append
from pmcore.services.departures import leave_inventory
from pmcore.services.devices import move_device, register_device
from pmcore.services.generate_due import UnknownSite, generate_due
from tests.cast import AT, Hospital
from tests.due_cast import START, a_plan, a_procedure, due_days, swept, terms
from tests.history import day

pytestmark = pytest.mark.django_db


def test_an_anchored_plan_is_written_thirteen_months_ahead_once(hospital: Hospital) -> None:
    a_plan(hospital, a_procedure())
    assert swept(hospital, "2026-06-01") == (2, 0)
    size = head().size
    assert swept(hospital, "2026-06-01") == (0, 0)
    assert head().size == size
    assert due_days(hospital.device) == ["2026-06-15", "2027-06-15"]
    due = DueInspection.objects.get(due_on=day("2026-06-15"))
    assert (due.opens_on, due.closes_on) == (day("2026-05-16"), day("2026-07-15"))
    assert verify().sound


def test_a_missed_year_is_caught_up(hospital: Hospital) -> None:
    a_plan(hospital, a_procedure())
    assert swept(hospital, "2028-07-01") == (4, 0)
    assert due_days(hospital.device) == ["2026-06-15", "2027-06-15", "2028-06-15", "2029-06-15"]


def test_a_clock_that_jumped_ahead_and_back_holds_nothing_up(hospital: Hospital) -> None:
    a_plan(hospital, a_procedure())
    swept(hospital, "2027-07-06")
    register_device(
        device_model=hospital.model, serial="OM-2", tag=None, area=hospital.theatre, from_on=day("2026-06-02"),
        actor=hospital.odile, at=AT,
    )  # fmt: skip
    assert swept(hospital, "2026-06-03") == (1, 0)
    assert SiteSweep.objects.get().swept_on == day("2026-06-03")


def test_a_dry_run_says_the_same_and_writes_nothing(hospital: Hospital) -> None:
    a_plan(hospital, a_procedure())
    size = head().size
    rehearsed = generate_due(site=hospital.alderwick, as_of=day("2026-06-01"), at=AT, dry_run=True)
    assert (rehearsed.added, head().size, SiteSweep.objects.count()) == (2, size, 0)


def test_a_floating_plan_names_the_next_and_accrues_what_is_not_done(hospital: Hospital) -> None:
    a_plan(hospital, a_procedure(), counts_from="floating", anchor_on=None, every=3)
    swept(hospital, "2026-01-02")
    assert due_days(hospital.device) == ["2026-04-01"]
    swept(hospital, "2026-07-05")
    assert due_days(hospital.device) == ["2026-04-01", "2026-07-01", "2026-10-01"]


def test_a_last_done_date_that_came_with_the_inventory_sets_the_clock(hospital: Hospital) -> None:
    procedure = a_procedure()
    a_plan(hospital, procedure, counts_from="floating", anchor_on=None)
    carried = Row(CarriedOver, device=hospital.device, procedure=procedure, performed_on=day("2025-09-10"))
    append("carried_over", hospital.device, [carried], actor=SYSTEM, at=AT)
    swept(hospital, "2026-02-01")
    assert due_days(hospital.device) == ["2026-09-10"]


def test_a_device_found_in_use_is_due_at_once(hospital: Hospital) -> None:
    a_plan(hospital, a_procedure())
    found = register_device(
        device_model=hospital.model, serial="OM-5", tag=None, area=hospital.theatre, from_on=day("2026-06-20"),
        found_in_use=True, actor=hospital.odile, at=AT,
    ).subject  # fmt: skip
    swept(hospital, "2026-06-21")
    assert due_days(found) == ["2026-06-20", "2027-06-15"]


def test_a_changed_plan_leaves_the_windows_that_had_opened(hospital: Hospital) -> None:
    procedure = a_procedure()
    plan = a_plan(hospital, procedure)
    swept(hospital, "2026-06-01")
    half_yearly = terms(
        plan, hospital, procedure, every=6, from_on=day("2026-06-01"), window_before=20, window_after=20
    )
    append("plan_changed", plan, [half_yearly], actor=SYSTEM, at=AT)
    assert swept(hospital, "2026-06-02") == (2, 1)  # that of 2027 is written anew, with the new window
    assert due_days(hospital.device) == ["2026-06-15", "2026-12-15", "2027-06-15"]
    assert swept(hospital, "2026-06-03") == (0, 0)
    opened = DueInspection.objects.get(due_on=day("2026-06-15"))
    assert opened.closes_on == day("2026-07-15")
    assert [due.closes_on for due in DueInspection.objects.filter(due_on=day("2027-06-15")).order_by("id")] == [
        day("2027-07-15"), day("2027-07-05"),
    ]  # fmt: skip


def test_a_plan_that_comes_back_calls_again_for_what_it_withdrew(hospital: Hospital) -> None:
    procedure = a_procedure()
    plan = a_plan(hospital, procedure)
    swept(hospital, "2026-06-01")
    for from_on, ended in (("2026-06-01", True), ("2026-06-03", False)):
        append("plan_changed", plan, [terms(plan, hospital, procedure, from_on=day(from_on), ended=ended)],
               actor=SYSTEM, at=AT)  # fmt: skip
        swept(hospital, from_on.replace("-01", "-02") if ended else "2026-06-04")
    assert due_days(hospital.device) == ["2026-06-15", "2027-06-15"]
    assert verify().sound


def test_an_ended_plan_is_due_no_more_but_for_what_had_opened(hospital: Hospital) -> None:
    procedure = a_procedure()
    plan = a_plan(hospital, procedure)
    swept(hospital, "2026-06-01")
    append(
        "plan_changed",
        plan,
        [terms(plan, hospital, procedure, from_on=day("2026-06-01"), ended=True)],
        actor=SYSTEM,
        at=AT,
    )
    assert swept(hospital, "2026-06-02") == (0, 1)
    assert due_days(hospital.device) == ["2026-06-15"]
    assert Withdrawal.objects.get().reason == "plan_ended"


def test_a_device_of_its_own_anchor_counts_from_there(hospital: Hospital) -> None:
    plan = a_plan(hospital, a_procedure())
    swept(hospital, "2026-05-01")
    anchor = Row(PlanAnchor, plan=plan, device=hospital.device, from_on=day("2026-05-10"), anchor_on=day("2026-05-10"))
    append("plan_anchored", hospital.device, [anchor], actor=SYSTEM, at=AT)
    swept(hospital, "2026-05-11")
    assert due_days(hospital.device) == ["2027-05-10"]


def test_only_devices_that_are_there_and_covered_are_due(hospital: Hospital) -> None:
    a_plan(hospital, a_procedure())
    elsewhere = register_device(
        device_model=hospital.model,
        serial="OM-7",
        tag=None,
        area=hospital.ward,
        from_on=START,
        actor=hospital.odile,
        at=AT,
    ).subject
    gone = register_device(
        device_model=hospital.model,
        serial="OM-8",
        tag=None,
        area=hospital.theatre,
        from_on=START,
        actor=hospital.odile,
        at=AT,
    ).subject
    leave_inventory(device=gone, departure=Departure.SOLD, from_on=day("2026-02-01"), actor=hospital.odile, at=AT)
    swept(hospital, "2026-06-01")
    assert (due_days(elsewhere), due_days(gone)) == ([], [])
    move_device(device=elsewhere, area=hospital.theatre, from_on=day("2026-06-02"), actor=hospital.odile, at=AT)
    swept(hospital, "2026-06-02")
    assert due_days(elsewhere) == ["2026-06-15", "2027-06-15"]


def test_an_unknown_site_is_refused() -> None:
    with pytest.raises(UnknownSite):
        generate_due(site=404, as_of=START, at=AT)


def test_a_run_costs_a_fixed_number_of_statements_to_read(
    hospital: Hospital, django_assert_max_num_queries: Any
) -> None:
    a_plan(hospital, a_procedure())
    for number in range(30):
        register_device(
            device_model=hospital.model, serial=f"N-{number}", tag=None, area=hospital.theatre, from_on=START,
            actor=hospital.odile, at=AT,
        )  # fmt: skip
    with django_assert_max_num_queries(40):
        generate_due(site=hospital.alderwick, as_of=day("2026-06-01"), at=AT, dry_run=True)
