"""What the plans say on a day, as known at a size of the history."""

import datetime as dt
from decimal import Decimal
from typing import Any

import pytest

from pmcore.engines.due_dates import IntervalRule, NoWindowForInterval, Window
from pmcore.engines.vocabulary import Basis, PlanBasis, Unit, UsageUnit
from pmcore.models import PlanTerms
from pmcore.models.rows import Row
from pmcore.queries.head import head
from pmcore.queries.plans import PlanTermsRecord, UsageLimit, terms_on
from pmcore.services.figure_settings import set_window
from pmcore.services.plans import end_plan
from tests.cast import AT, JANUARY, Hospital, a_hospital, a_plan, a_procedure
from tests.history import small_world, written

pytestmark = pytest.mark.django_db

TODAY = AT.date()
TOMORROW = TODAY + dt.timedelta(days=1)


@pytest.fixture
def hospital() -> Hospital:
    return a_hospital()


def test_the_record_holds_all_that_a_plan_says(hospital: Hospital) -> None:
    procedure = a_procedure(hospital.odile)
    plan = a_plan(
        hospital.odile, procedure, device=hospital.device, anchor_on=JANUARY, usage_limit="500.0",
        usage_unit=UsageUnit.CYCLES, window=Window.calendar_month(), counts_from=Basis.FLOATING,
    )  # fmt: skip
    assert terms_on(TODAY, head().size) == [
        PlanTermsRecord(
            plan=plan,
            terms=PlanTerms.objects.get(plan=plan).pk,
            name="Tables, yearly",
            device_class=None,
            device_model=None,
            device=hospital.device,
            procedure=procedure,
            rule=IntervalRule(12, Unit.MONTH, Basis.FLOATING, Window.calendar_month()),
            anchor_on=JANUARY,
            usage=UsageLimit(Decimal("500.0"), UsageUnit.CYCLES),
            basis=PlanBasis.MAKER,
            from_on=TODAY,
            ended=False,
        )
    ]


def test_plans_come_in_order_and_ended_ones_say_so(hospital: Hospital) -> None:
    procedure = a_procedure(hospital.odile)
    first, second = (a_plan(hospital.odile, procedure, device_model=hospital.model) for _ in range(2))
    end_plan(plan=first, from_on=TOMORROW, actor=hospital.odile, at=AT)
    assert [(terms.plan, terms.ended) for terms in terms_on(TOMORROW, head().size)] == [(first, True), (second, False)]
    assert terms_on(TODAY - dt.timedelta(days=1), head().size) == []


def test_what_was_known_of_plans_and_windows_stays_as_it_was(hospital: Hospital) -> None:
    procedure = a_procedure(hospital.odile)
    size = head().size
    row: dict[str, Any] = {"every": 1, "unit": Unit.YEAR, "actor": hospital.odile, "at": AT}
    set_window(window=Window.days(30, 30), from_on=JANUARY, **row)
    plan = a_plan(hospital.odile, procedure, device_model=hospital.model, window=None)
    known = head().size
    set_window(window=Window.days(5, 5), from_on=TODAY, **row)
    end_plan(plan=plan, from_on=TOMORROW, actor=hospital.odile, at=AT)
    now = head().size
    assert terms_on(TOMORROW, size) == []
    assert [(terms.rule.window.before, terms.ended) for terms in terms_on(TOMORROW, known)] == [(30, False)]
    assert [(terms.rule.window.before, terms.ended) for terms in terms_on(TOMORROW, now)] == [(5, True)]


def test_any_number_of_plans_costs_two_statements(hospital: Hospital, django_assert_num_queries: Any) -> None:
    procedure = a_procedure(hospital.odile)
    set_window(every=12, unit=Unit.MONTH, window=Window.days(9, 9), from_on=JANUARY, actor=hospital.odile, at=AT)
    for _ in range(5):
        a_plan(hospital.odile, procedure, device_model=hospital.model, window=None)
        a_plan(hospital.odile, procedure, device=hospital.device)
    known = head().size
    with django_assert_num_queries(2):
        assert len(terms_on(TODAY, known)) == 10


def test_a_plan_whose_window_is_in_no_table_is_not_read_as_if_it_had_one() -> None:
    world = small_world()
    terms = PlanTerms.objects.current().get(plan=world.plan)
    columns = ("name", "every", "unit", "counts_from", "basis", "ended")
    values = {name: getattr(terms, name) for name in columns}
    written(
        "plan_changed", world.plan,
        Row(
            PlanTerms, plan=world.plan, from_on=TODAY, window="table", device_model=world.model,
            procedure=world.procedure, approved_by=world.person, **values,
        ),
    )  # fmt: skip
    with pytest.raises(NoWindowForInterval):
        terms_on(TODAY, head().size)
