"""A plan with a limit of hours or cycles: due on the calendar's day or the meter's, whichever comes first."""

from typing import Any

import pytest

from pmcore.engines.vocabulary import UsageUnit
from pmcore.models import DueInspection
from pmcore.queries.verification import verify
from pmcore.services.usage import read_meter
from tests.bench_cast import Bench, a_bench, moment, recorded
from tests.cast import AT
from tests.due_cast import a_plan, due_days, swept
from tests.history import day

pytestmark = pytest.mark.django_db


@pytest.fixture
def bench() -> Bench:
    return a_bench()


def plan_of(bench: Bench, limit: str = "1000", **terms: Any) -> int:
    floating = {"counts_from": "floating", "anchor_on": None, "usage_limit": limit, "usage_unit": "hours"}
    return a_plan(bench, bench.procedure, **{**floating, **terms})


def read(bench: Bench, value: str, on: str, unit: UsageUnit = UsageUnit.HOURS) -> None:
    read_meter(device=bench.device, unit=unit, value=value, on=day(on), actor=bench.ruan, at=AT)


def test_a_busy_device_is_due_before_the_year_is_over(bench: Bench) -> None:
    """5 hours a day from 2026-01-01 on: 1,000 hours are reached after 200 days."""
    plan = plan_of(bench)
    read(bench, "0", "2026-01-01")
    read(bench, "500", "2026-04-11")
    swept(bench, "2026-04-12")
    assert due_days(bench.device, plan) == ["2026-07-20"]
    due = DueInspection.objects.get(plan=plan)
    assert (due.opens_on, due.closes_on, due.counted_from_on) == (
        day("2026-06-20"), day("2026-08-19"), day("2026-01-01"),
    )  # fmt: skip
    assert swept(bench, "2026-04-12") == (0, 0)
    assert verify().sound


@pytest.mark.parametrize("readings", [(), (("0", "2026-01-01"),), (("0", "2026-01-01"), ("10", "2026-04-01"))])
def test_without_a_rate_or_with_a_slow_one_the_calendar_counts(
    bench: Bench, readings: tuple[tuple[str, str], ...]
) -> None:
    plan = plan_of(bench)
    for value, on in readings:
        read(bench, value, on)
    swept(bench, "2026-04-12")
    assert due_days(bench.device, plan) == ["2027-01-01"]


def test_another_units_meter_says_nothing(bench: Bench) -> None:
    plan = plan_of(bench)
    read(bench, "0", "2026-01-01", UsageUnit.CYCLES)
    read(bench, "900", "2026-02-01", UsageUnit.CYCLES)
    swept(bench, "2026-04-12")
    assert due_days(bench.device, plan) == ["2027-01-01"]


def test_a_new_reading_moves_what_has_not_opened(bench: Bench) -> None:
    plan = plan_of(bench)
    read(bench, "0", "2026-01-01")
    read(bench, "500", "2026-04-11")
    swept(bench, "2026-04-12")
    read(bench, "550", "2026-05-11")  # 550 hours in 130 days: 1,000 after 236
    assert swept(bench, "2026-05-12") == (1, 1)
    assert due_days(bench.device, plan) == ["2026-08-25"]
    read(bench, "551", "2026-08-01")
    swept(bench, "2026-08-02")  # its window has opened on 07-26
    assert due_days(bench.device, plan) == ["2026-08-25"]


def test_an_inspection_starts_the_count_again(bench: Bench) -> None:
    plan = plan_of(bench)
    read(bench, "0", "2026-01-01")
    read(bench, "900", "2026-06-30")
    swept(bench, "2026-07-01")
    assert due_days(bench.device, plan) == ["2026-07-20"]
    recorded(bench, moment(7, 10))
    swept(bench, "2026-07-11")
    # The meter was not read on the day, nor since: it counts from 900, at 5 hours a day, for 200 days from 06-30 on.
    assert due_days(bench.device, plan) == ["2026-07-20", "2027-01-16"]
    due = DueInspection.objects.get(plan=plan, due_on=day("2027-01-16"))
    assert due.counted_from_on == day("2026-07-10")


def test_sweeps_in_any_number_leave_the_same(bench: Bench) -> None:
    plan = plan_of(bench)
    read(bench, "0", "2026-01-01")
    read(bench, "500", "2026-04-11")
    for as_of in ("2026-04-12", "2027-05-17", "2026-04-13", "2026-04-13", "2026-06-21", "2026-06-20"):
        swept(bench, as_of)
    assert due_days(bench.device, plan)[0] == "2026-07-20"
    assert swept(bench, "2026-07-01")[0] == 0
