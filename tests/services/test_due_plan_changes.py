"""A changed plan may not put off what its own interval asks for, whichever way it is changed."""

import datetime as dt
from typing import Any

import pytest

from pmcore.models import PlanAnchor
from pmcore.models.rows import Row
from pmcore.queries.verification import verify
from tests.bench_cast import Bench, a_bench, moment, recorded
from tests.due_cast import a_plan, due_days, swept, terms
from tests.history import day, written

pytestmark = pytest.mark.django_db

AUGUST = day("2026-08-01")


@pytest.fixture
def bench() -> Bench:
    return a_bench()


def changed(bench: Bench, plan: int, from_on: dt.date = AUGUST, **values: Any) -> None:
    written("plan_changed", plan, terms(plan, bench, bench.procedure, from_on=from_on, **values))


def done_in_june(bench: Bench) -> int:
    """A yearly plan, counted from 06-15, met on 2026-06-20."""
    plan = a_plan(bench, bench.procedure)
    swept(bench, "2026-06-01")
    recorded(bench, moment(6, 20))
    swept(bench, "2026-07-31")
    assert due_days(bench.device, plan) == ["2026-06-15", "2027-06-15"]
    return plan


def test_a_later_anchor_leaves_one_in_between(bench: Bench) -> None:
    plan = done_in_june(bench)
    changed(bench, plan, anchor_on=day("2027-12-01"))
    swept(bench, "2026-08-02")
    swept(bench, "2026-12-01")
    assert due_days(bench.device, plan) == ["2026-06-15", "2027-06-20", "2027-12-01"]
    assert verify().sound


def test_an_anchor_that_is_moved_on_each_year_still_puts_nothing_off(bench: Bench) -> None:
    plan = done_in_june(bench)
    for month in (8, 9, 10):
        changed(bench, plan, day(f"2026-{month:02}-01"), anchor_on=day(f"202{month - 1}-12-01"))
        swept(bench, f"2026-{month:02}-02")
    assert "2027-06-20" in due_days(bench.device, plan)


def test_a_plan_that_is_ended_and_made_anew_was_changed(bench: Bench) -> None:
    plan = done_in_june(bench)
    changed(bench, plan, ended=True)
    again = a_plan(bench, bench.procedure, from_on=day("2026-08-03"), anchor_on=day("2028-03-01"))
    swept(bench, "2026-08-04")
    swept(bench, "2027-02-10")
    assert due_days(bench.device, again)[0] == "2027-06-20"


def test_a_devices_own_anchor_puts_nothing_off(bench: Bench) -> None:
    plan = done_in_june(bench)
    own = Row(PlanAnchor, plan=plan, device=bench.device, from_on=AUGUST, anchor_on=day("2027-12-01"))
    written("plan_anchored", bench.device, own)
    swept(bench, "2026-08-02")
    assert due_days(bench.device, plan) == ["2026-06-15", "2027-06-20"]


def test_a_change_that_leaves_the_days_leaves_the_windows(bench: Bench) -> None:
    plan = done_in_june(bench)
    changed(bench, plan, name="Tables, every year")
    assert swept(bench, "2026-08-02") == (0, 0)
    assert due_days(bench.device, plan) == ["2026-06-15", "2027-06-15"]
