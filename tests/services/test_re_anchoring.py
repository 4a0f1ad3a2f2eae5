"""Done early, an anchored plan gives credit only where it is re-anchored by the same act."""

import pytest

from pmcore.engines.due_dates import IntervalRule, Window
from pmcore.engines.due_history import due_history
from pmcore.engines.records import Inspected
from pmcore.engines.vocabulary import Basis, StepKind, Unit
from pmcore.models import (
    CarriedOver,
    CoveredProcedure,
    ModelDetails,
    PlanAnchor,
    Procedure,
    ProcedureSheet,
)
from pmcore.models.rows import Row
from pmcore.queries.head import head
from pmcore.queries.inspections import completed
from pmcore.services.re_anchoring import CannotReAnchor, NothingToAnchorTo, TooEarlyToReAnchor
from pmcore.services.refusals import UnknownReference
from tests.bench_cast import (
    BRAKES,
    DUE,
    RAISING,
    Bench,
    a_bench,
    a_plan,
    a_step,
    assert_refused,
    inspection_of,
    moment,
    recorded,
)
from tests.cast import JANUARY, a_device
from tests.history import day, written

pytestmark = pytest.mark.django_db

MAY_10 = moment(5, 10)
YEARLY = IntervalRule(12, Unit.MONTH, Basis.ANCHORED, Window.days(30, 30))


@pytest.fixture
def bench() -> Bench:
    return a_bench()


def done_last(bench: Bench, on: str) -> None:
    carried = Row(CarriedOver, device=bench.device, procedure=bench.procedure, performed_on=day(on))
    written("carried_over", bench.device, carried)


def another_procedure() -> int:
    procedure = Row(Procedure)
    return written("procedure_registered", procedure, procedure).subject


def test_re_anchored_to_its_day_it_is_met_early_and_the_next_is_due_a_year_later(bench: Bench) -> None:
    done_last(bench, "2025-06-15")
    receipt = recorded(bench, MAY_10, re_anchor_plan=bench.plan)
    anchor = PlanAnchor.objects.current().get(plan=bench.plan, device=bench.device)
    assert (anchor.entry, anchor.from_on, anchor.anchor_on) == (receipt.seq, day("2026-05-10"), day("2026-05-10"))
    (done,) = completed([bench.device], head().size)
    inspected = [Inspected(done.performed_on, re_anchors=anchor.anchor_on == done.performed_on)]
    met, following = due_history(YEARLY, DUE, day("2025-06-15"), inspected, day("2026-07-31"))
    assert (met.due_on, met.completed_on, following.due_on) == (DUE, day("2026-05-10"), day("2027-05-10"))


def test_only_a_complete_inspection_re_anchors(bench: Bench) -> None:
    assert_refused(NothingToAnchorTo, lambda: recorded(bench, MAY_10, BRAKES, re_anchor_plan=bench.plan))
    first = recorded(bench, MAY_10, BRAKES)
    rest = [RAISING, bench.leakage()]
    recorded(bench, moment(5, 12), *rest, inspection=inspection_of(first), re_anchor_plan=bench.plan)
    assert PlanAnchor.objects.current().get().anchor_on == day("2026-05-12")


def test_the_plan_must_be_there_anchored_and_in_force(bench: Bench) -> None:
    assert_refused(UnknownReference, lambda: recorded(bench, MAY_10, re_anchor_plan=999_999), "inspection_plan")
    for terms in ({"counts_from": "floating"}, {"ended": True}, {"from_on": day("2026-05-11")}):
        plan = a_plan(bench, bench.procedure, **terms)
        assert_refused(CannotReAnchor, lambda plan=plan: recorded(bench, MAY_10, re_anchor_plan=plan))


def test_the_plan_must_ask_for_what_was_done(bench: Bench) -> None:
    procedure = another_procedure()
    plan = a_plan(bench, procedure)
    assert_refused(CannotReAnchor, lambda: recorded(bench, MAY_10, re_anchor_plan=plan), "another procedure")
    wrong = ProcedureSheet.objects.current().get(version=bench.version)
    covering = _the_sheet_again(bench, wrong, procedure)
    written("version_written", bench.version, *covering, replaces=[wrong])
    recorded(bench, MAY_10, re_anchor_plan=plan)
    assert PlanAnchor.objects.current().get().plan_id == plan


def _the_sheet_again(bench: Bench, wrong: ProcedureSheet, covered: int) -> list[Row]:
    sheet = Row(ProcedureSheet, version=bench.version, title=wrong.title, minutes=40, people=1)
    keys = [("brakes", None), ("raising", "mains"), ("leakage", None)]
    steps = [a_step(sheet, at, key, StepKind.FUNCTION, energy_source=on) for at, (key, on) in enumerate(keys, start=1)]
    return [sheet, *steps, Row(CoveredProcedure, sheet=sheet, procedure=covered)]


def test_the_plan_must_cover_the_device(bench: Bench) -> None:
    other = a_device(bench.odile, bench.model, "OM-2", bench.theatre)
    alone = {"device_model": None, "device": other}
    plan = a_plan(bench, bench.procedure, **alone)
    assert_refused(CannotReAnchor, lambda: recorded(bench, MAY_10, re_anchor_plan=plan), "does not cover")
    recorded(bench, MAY_10, device=other, re_anchor_plan=plan)
    by_class = a_plan(bench, bench.procedure, device_model=None, device_class=_class_of(bench))
    recorded(bench, MAY_10, re_anchor_plan=by_class)
    assert PlanAnchor.objects.current().count() == 2


def _class_of(bench: Bench) -> int:
    return int(ModelDetails.objects.current().on(JANUARY).get(device_model=bench.model).device_class_id)


def test_half_the_interval_has_passed_or_a_window_has_opened_since(bench: Bench) -> None:
    done_last(bench, "2025-11-10")  # half of the 365 days are over on 2026-05-12 only
    assert_refused(TooEarlyToReAnchor, lambda: recorded(bench, moment(5, 11), re_anchor_plan=bench.plan))
    recorded(bench, moment(5, 12), re_anchor_plan=bench.plan)
    assert_refused(TooEarlyToReAnchor, lambda: recorded(bench, moment(5, 15), re_anchor_plan=bench.plan))
    recorded(bench, moment(5, 16), re_anchor_plan=bench.plan)  # the window opens
    assert PlanAnchor.objects.current().count() == 2
