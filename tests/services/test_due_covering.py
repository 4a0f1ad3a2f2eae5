"""An inspection counts for another procedure where its own version's sheet declares that it covers it."""

from typing import Any

import pytest

from pmcore.engines.vocabulary import StepKind
from pmcore.models import CoveredProcedure, ProcedureSheet, ProcedureVersion, Step, VersionApproval
from pmcore.models.rows import Row
from tests.bench_cast import BRAKES, Bench, a_bench, a_step, moment, recorded
from tests.cast import JANUARY
from tests.due_cast import a_plan, a_procedure, due_days, swept
from tests.history import written

pytestmark = pytest.mark.django_db


@pytest.fixture
def bench() -> Bench:
    return a_bench()


def a_version(bench: Bench, procedure: int, number: int, *covered: int) -> int:
    """One step, approved; its sheet covers what is named."""
    version = Row(ProcedureVersion, procedure=procedure, number=number)
    sheet = Row(ProcedureSheet, version=version, title="Yearly", minutes=40, people=1)
    rows = [version, sheet, a_step(sheet, 1, "brakes", StepKind.FUNCTION)]
    rows += [Row(CoveredProcedure, sheet=sheet, procedure=each) for each in covered]
    made = written("version_written", version, *rows).subject
    approval = Row(VersionApproval, version=made, from_on=JANUARY, approved=True, approved_by=bench.odile.person)
    written("version_approved", made, approval)
    assert Step.objects.filter(sheet__version=made).count() == 1
    return made


def half_yearly(bench: Bench, **terms: Any) -> tuple[int, int]:
    """A procedure that the yearly one may cover, and a floating plan for it."""
    procedure = a_procedure("Half-yearly check")
    floating = {"every": 6, "counts_from": "floating", "anchor_on": None}
    return procedure, a_plan(bench, procedure, **{**floating, **terms})


def done(bench: Bench, version: int, month: int, day: int) -> None:
    recorded(bench, moment(month, day), BRAKES, version=version)


def test_it_resets_the_clock_of_the_procedure_that_it_covers(bench: Bench) -> None:
    procedure, plan = half_yearly(bench)
    swept(bench, "2026-04-01")
    assert due_days(bench.device, plan) == ["2026-07-01"]
    done(bench, a_version(bench, bench.procedure, 2, procedure), 6, 20)
    swept(bench, "2026-06-21")
    assert due_days(bench.device, plan) == ["2026-07-01", "2026-12-20"]


def test_a_version_that_does_not_say_so_covers_nothing(bench: Bench) -> None:
    procedure, plan = half_yearly(bench)
    earlier = a_version(bench, bench.procedure, 2)
    a_version(bench, bench.procedure, 3, procedure)  # a later sheet does
    done(bench, earlier, 6, 20)
    swept(bench, "2026-06-21")
    assert due_days(bench.device, plan) == ["2026-07-01", "2027-01-01"]


def test_what_was_covered_before_a_plan_began_sets_its_clock(bench: Bench) -> None:
    procedure = a_procedure("Half-yearly check")
    done(bench, a_version(bench, bench.procedure, 2, procedure), 2, 10)
    plan = a_plan(bench, procedure, every=6, counts_from="floating", anchor_on=None, from_on=moment(3, 1).date())
    swept(bench, "2026-03-02")
    assert due_days(bench.device, plan) == ["2026-08-10"]


def test_it_covers_in_one_direction(bench: Bench) -> None:
    procedure, _ = half_yearly(bench)
    yearly = a_plan(bench, bench.procedure, counts_from="floating", anchor_on=None)
    a_version(bench, bench.procedure, 2, procedure)
    done(bench, a_version(bench, procedure, 1), 2, 10)
    swept(bench, "2026-03-01")
    assert due_days(bench.device, yearly) == ["2027-01-01"]
