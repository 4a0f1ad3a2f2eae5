"""Who is called for: loans that stay, ours lent out, stored and missed devices; and who is no more."""

import datetime as dt
from typing import Any

import pytest

from pmcore.engines.vocabulary import InspectionKind, OwnershipKind
from pmcore.models import DueInspection, Withdrawal
from pmcore.queries.verification import verify
from pmcore.services.departures import return_device, swap_device
from pmcore.services.devices import register_device
from pmcore.services.loans import lend_device, receive_device, set_ownership
from pmcore.services.locating import find_again, mark_not_located
from pmcore.services.storage import store_device
from tests.bench_cast import Bench, a_bench, moment, recorded
from tests.cast import AT, JANUARY
from tests.due_cast import a_plan, due_days, swept
from tests.history import day
from tests.states import gone

pytestmark = pytest.mark.django_db

FEBRUARY = day("2026-02-01")


@pytest.fixture
def bench() -> Bench:
    return a_bench()


def by(bench: Bench, **options: Any) -> dict[str, Any]:
    return {"from_on": FEBRUARY, "actor": bench.odile, "at": AT} | options


def on_loan(bench: Bench, until_on: dt.date | None, **options: Any) -> int:
    asked = {"device_model": bench.model, "serial": "OL-1", "kind": OwnershipKind.ON_LOAN, "area": bench.theatre}
    return receive_device(until_on=until_on, **by(bench, **{**asked, **options})).subject


def a_floating_plan(bench: Bench) -> int:
    return a_plan(bench, bench.procedure, counts_from="floating", anchor_on=None, every=6)


def test_a_loan_for_no_more_than_an_interval_gets_no_plan(bench: Bench) -> None:
    plan = a_floating_plan(bench)
    short = on_loan(bench, day("2026-08-01"))
    swept(bench, "2026-02-02")
    assert due_days(short, plan) == []
    long = on_loan(bench, day("2026-08-02"), serial="OL-2")
    open_ended = on_loan(bench, None, serial="OL-3")
    swept(bench, "2026-02-02")
    assert (due_days(long, plan), due_days(open_ended, plan)) == (["2026-08-01"], ["2026-08-01"])


@pytest.mark.parametrize("anchor_on", ["2025-08-10", "2024-06-15"], ids=["open as it comes", "run out as it comes"])
def test_a_short_loan_gets_no_plan_whatever_the_plan_has_open_as_it_comes(bench: Bench, anchor_on: str) -> None:
    plan = a_plan(bench, bench.procedure, counts_from="floating", anchor_on=day(anchor_on), every=6)
    short, long = on_loan(bench, day("2026-03-01")), on_loan(bench, None, serial="OL-2")
    swept(bench, "2026-02-02")
    assert due_days(short, plan) == []
    assert due_days(long, plan)[0] == {"2025-08-10": "2026-02-10", "2024-06-15": "2026-02-01"}[anchor_on]


def test_a_short_loan_gets_nothing_of_a_plan_that_ended_either(bench: Bench) -> None:
    plan = a_plan(bench, bench.procedure, from_on=day("2026-02-20"), anchor_on=day("2025-08-10"), every=6, ended=True,
                  counts_from="floating")  # fmt: skip
    short = on_loan(bench, day("2026-03-01"))
    swept(bench, "2026-02-21")
    assert due_days(short, plan) == []


def test_a_short_loan_that_is_made_longer_is_due_from_then_on(bench: Bench) -> None:
    plan = a_plan(bench, bench.procedure, every=6)  # counted from 06-15 and 12-15
    device = on_loan(bench, day("2026-07-01"))
    swept(bench, "2026-06-20")
    assert due_days(device, plan) == []
    longer = by(bench, from_on=day("2026-06-20"), until_on=day("2027-07-01"))
    set_ownership(device=device, kind=OwnershipKind.ON_LOAN, **longer)
    swept(bench, "2026-06-20")
    assert due_days(device, plan)[0] == "2026-12-15"  # the window that had opened in May was nobody's
    assert len(due_days(bench.device, plan)) > len(due_days(device, plan))


def test_a_long_loan_that_is_cut_short_is_called_for_no_more(bench: Bench) -> None:
    plan = a_floating_plan(bench)
    device = on_loan(bench, None)
    swept(bench, "2026-03-01")
    shorter = by(bench, from_on=day("2026-03-02"), until_on=day("2026-05-01"))
    set_ownership(device=device, kind=OwnershipKind.ON_LOAN, **{**shorter, "at": moment(3, 2)})
    swept(bench, "2026-03-02")
    assert due_days(device, plan) == []
    reasons = Withdrawal.objects.filter(due_inspection__device=device).values_list("reason", flat=True)
    assert set(reasons) == {"device_no_longer_covered"}
    assert verify().sound


def test_a_loan_that_comes_again_is_due_from_its_new_beginning(bench: Bench) -> None:
    """Worked example 18 twice over: incoming at each arrival, and no clock runs while it is away."""
    plan = a_floating_plan(bench)
    device = on_loan(bench, None)
    recorded(bench, moment(2, 2), device=device, kind=InspectionKind.INCOMING)
    swept(bench, "2026-02-03")
    assert due_days(device, plan) == ["2026-08-02"]
    return_device(device=device, **by(bench, from_on=day("2026-03-01")))
    swept(bench, "2026-05-01")
    assert on_loan(bench, None, from_on=day("2026-06-01")) == device
    recorded(bench, moment(6, 2), device=device, kind=InspectionKind.INCOMING)
    swept(bench, "2026-06-03")
    assert due_days(device, plan) == ["2026-12-02"]


def test_ours_lent_out_and_stored_and_missed_are_due_as_before(bench: Bench) -> None:
    plan = a_floating_plan(bench)
    of_model = {"device_model": bench.model, "tag": None, "area": bench.theatre, "from_on": JANUARY}
    lent, stored, missed = (
        register_device(serial=f"OX-{n}", actor=bench.odile, at=AT, **of_model).subject for n in range(3)
    )
    lend_device(device=lent, borrower="Fallow Lane", **by(bench))
    store_device(device=stored, sealed=True, in_hand=True, **by(bench))
    mark_not_located(device=missed, **by(bench))
    swept(bench, "2026-06-10")
    for device in (lent, stored, missed):
        assert due_days(device, plan) == ["2026-07-01", "2027-01-01"]


def test_after_it_has_left_nothing_more_is_called_for(bench: Bench) -> None:
    plan = a_floating_plan(bench)
    swept(bench, "2026-02-02")
    assert due_days(bench.device, plan) == ["2026-07-01"]
    gone(bench, day("2026-05-10"))
    assert swept(bench, "2027-06-01") == (0, 0)
    assert DueInspection.objects.filter(device=bench.device, plan=plan).count() == 1


def test_a_successor_inherits_no_clock(bench: Bench) -> None:
    """Worked example 19."""
    plan = a_floating_plan(bench)
    recorded(bench, moment(5, 20))
    swap = by(bench, device=bench.device, from_on=day("2026-06-18"))
    successor = swap_device(serial="OM-2", **swap).subject
    recorded(bench, moment(6, 19), device=successor, kind=InspectionKind.INCOMING)
    swept(bench, "2026-06-20")
    assert due_days(successor, plan) == ["2026-12-19"]


def test_an_incoming_inspection_after_it_was_found_again_undoes_nothing(bench: Bench) -> None:
    plan = a_plan(bench, bench.procedure, every=6)
    swept(bench, "2026-06-16")
    before = due_days(bench.device, plan)
    assert before[0] == "2026-06-15"
    mark_not_located(device=bench.device, **by(bench))
    find_again(device=bench.device, **by(bench, from_on=day("2026-07-20")))
    recorded(bench, moment(1, 10), kind=InspectionKind.INCOMING)
    recorded(bench, moment(7, 21), kind=InspectionKind.INCOMING)
    swept(bench, "2026-07-22")
    assert due_days(bench.device, plan)[: len(before)] == before


def test_found_in_use_it_is_due_at_once_and_then_after_its_incoming_inspection(bench: Bench) -> None:
    plan = a_plan(bench, bench.procedure)  # counted from 06-15
    found = register_device(
        device_model=bench.model, serial="OM-5", tag=None, area=bench.theatre, from_on=day("2026-05-01"),
        found_in_use=True, actor=bench.odile, at=AT,
    ).subject  # fmt: skip
    swept(bench, "2026-05-20")
    assert due_days(found, plan) == ["2026-05-01", "2026-06-15", "2027-06-15"]
    recorded(bench, moment(6, 1), device=found, kind=InspectionKind.INCOMING)
    swept(bench, "2026-06-02")
    # Worked example 17: the window of 06-15 had opened; the first is the one that opens after the incoming inspection.
    assert due_days(found, plan) == ["2026-05-01", "2027-06-15"]
