"""Inspection plans: made, changed, re-anchored and ended for the future only; devices that need none."""

import datetime as dt
from collections.abc import Callable
from typing import Any

import pytest

from pmcore.engines.due_dates import IntervalError, Window
from pmcore.engines.records import SYSTEM, Actor
from pmcore.engines.vocabulary import Basis, EnergySource, Role, Unit, UsageUnit
from pmcore.models import Entry, InspectionPlan, NoPlanNeeded, PlanAnchor, PlanTerms
from pmcore.queries.columns import BadValue
from pmcore.queries.head import head
from pmcore.queries.plans import PlanTermsRecord, terms_on
from pmcore.queries.verification import verify
from pmcore.services import plans
from pmcore.services.catalogue import register_class, register_model
from pmcore.services.corrections import ReasonMissing
from pmcore.services.figure_settings import set_window
from pmcore.services.plan_rules import DatedBack, IntervalRefused, WindowNotInTable, WindowRefused
from pmcore.services.plans import (
    LaterTermsStand,
    NothingDeclared,
    NotUnderPlan,
    PlanCannotBeUnmade,
    PlanEnded,
    PlanNotBegun,
    ProcedureNotApproved,
    SignedTwiceByOne,
    TargetUnclear,
    UsageUnclear,
    anchor_plan,
    change_plan,
    declare_no_plan_needed,
    declare_plan_needed,
    end_plan,
    make_plan,
    take_back_change,
)
from pmcore.services.procedures import ProcedureWithdrawn, withdraw_procedure
from pmcore.services.refusals import AlreadyReplaced, Conflict, NotAllowed, UnknownReference, WrongSite
from pmcore.services.requests import Receipt, Request
from pmcore.services.sites import open_site
from tests.cast import AT, JANUARY, Hospital, a_device, a_person, a_plan, a_procedure

pytestmark = pytest.mark.django_db

TODAY = AT.date()
YESTERDAY, TOMORROW = TODAY - dt.timedelta(days=1), TODAY + dt.timedelta(days=1)
NEXT_YEAR = dt.date(2027, 1, 1)


@pytest.fixture
def procedure(hospital: Hospital) -> int:
    return a_procedure(hospital.odile)


@pytest.fixture
def plan(hospital: Hospital, procedure: int) -> int:
    return a_plan(hospital.odile, procedure, device_model=hospital.model)


def the_terms(hospital: Hospital, procedure: int, /, **changed: Any) -> Any:
    """Half-yearly, floating, for the model."""
    asked = {
        "name": "Tables, half-yearly", "device_model": hospital.model, "procedure": procedure, "every": 6,
        "unit": Unit.MONTH, "counts_from": Basis.FLOATING, "window": Window.days(14, 14), "basis": "local_policy",
        "approved_by": hospital.odile.person, "from_on": TOMORROW, "actor": hospital.odile, "at": AT,
    }  # fmt: skip
    return {**asked, **changed}


def by(actor: Actor, from_on: dt.date = TOMORROW, **more: Any) -> dict[str, Any]:
    return {"actor": actor, "at": AT, "from_on": from_on, **more}


def terms_of(plan: int, day: dt.date) -> PlanTermsRecord:
    return next(terms for terms in terms_on(day, head().size) if terms.plan == plan)


def a_class_of_lights() -> int:
    return register_class(name="Operating light", from_on=JANUARY, actor=SYSTEM, at=AT).subject


def refused(error: type[Exception], deed: Callable[[], object]) -> None:
    size = head().size
    with pytest.raises(error):
        deed()
    assert head().size == size


def test_a_plan_says_what_was_asked_from_its_day_on(hospital: Hospital, procedure: int) -> None:
    plan = make_plan(
        **the_terms(
            hospital, procedure, anchor_on=JANUARY, usage_limit="500", usage_unit=UsageUnit.HOURS,
            basis_note="Maker's manual, chapter 9.", second_signature=hospital.ruan.person,
        )
    ).subject  # fmt: skip
    assert terms_on(TODAY, head().size) == []
    terms = terms_of(plan, TOMORROW)
    assert (terms.name, terms.device_model, terms.procedure) == ("Tables, half-yearly", hospital.model, procedure)
    assert (terms.rule.every, terms.rule.basis, terms.rule.window) == (6, Basis.FLOATING, Window.days(14, 14))
    assert (terms.anchor_on, terms.ended, terms.from_on) == (JANUARY, False, TOMORROW)
    written = PlanTerms.objects.current().get(plan=plan)
    assert (written.basis_note.words, written.second_signature_id) == (
        "Maker's manual, chapter 9.",
        hospital.ruan.person,
    )
    assert Entry.objects.latest("seq").kind == "plan_made"
    assert verify().sound


@pytest.mark.parametrize(
    ("changed", "error"),
    [
        ({"device_model": None}, TargetUnclear),
        ({"device": 1}, TargetUnclear),
        ({"device_model": 999_999}, UnknownReference),
        ({"every": 0}, IntervalRefused),
        ({"every": -6}, IntervalRefused),
        ({"unit": "fortnight"}, IntervalRefused),
        ({"counts_from": "whenever"}, IntervalRefused),
        ({"window": Window.days(90, 91)}, WindowRefused),
        ({"every": 4, "unit": Unit.WEEK, "window": Window.calendar_month()}, WindowRefused),
        ({"window": None}, WindowNotInTable),
        ({"usage_limit": "500"}, UsageUnclear),
        ({"usage_limit": "500", "usage_unit": UsageUnit.HOURS, "counts_from": Basis.ANCHORED}, UsageUnclear),
        ({"usage_unit": UsageUnit.HOURS}, UsageUnclear),
        ({"usage_limit": "many", "usage_unit": UsageUnit.HOURS}, UsageUnclear),
        ({"usage_limit": "0.0", "usage_unit": UsageUnit.HOURS}, UsageUnclear),
        ({"from_on": YESTERDAY}, DatedBack),
        ({"from_on": AT}, BadValue),
        ({"procedure": 999_999}, UnknownReference),
        ({"approved_by": 999_999}, UnknownReference),
        ({"basis": "habit"}, BadValue),
        ({"name": ""}, BadValue),
    ],
)
def test_terms_that_make_no_sense_are_refused_in_a_new_plan_and_in_a_change(
    hospital: Hospital, procedure: int, plan: int, changed: dict[str, Any], error: type[Exception]
) -> None:
    terms = the_terms(hospital, procedure, **changed)
    refused(error, lambda: make_plan(**terms))
    # Asked for a day before the plan began, a change is refused for that already.
    refused(PlanNotBegun if error is DatedBack else error, lambda: change_plan(plan=plan, **terms))
    assert InspectionPlan.objects.count() == 1


def test_a_refused_rule_says_what_the_engine_said(hospital: Hospital, procedure: int) -> None:
    with pytest.raises(WindowRefused, match="does not fit into every 6 month") as caught:
        make_plan(**the_terms(hospital, procedure, window=Window.days(100, 100)))
    assert isinstance(caught.value.__cause__, IntervalError)


def test_nobody_signs_twice(hospital: Hospital, procedure: int) -> None:
    terms = the_terms(hospital, procedure, second_signature=hospital.odile.person)
    refused(SignedTwiceByOne, lambda: make_plan(**terms))


def test_a_plan_needs_an_approved_procedure_that_is_in_use(hospital: Hospital, procedure: int) -> None:
    drafted = a_procedure(hospital.odile, "Drafted check", approved=False)
    refused(ProcedureNotApproved, lambda: make_plan(**the_terms(hospital, drafted)))
    withdraw_procedure(procedure=procedure, **by(hospital.odile, NEXT_YEAR))
    refused(ProcedureWithdrawn, lambda: make_plan(**the_terms(hospital, procedure, from_on=NEXT_YEAR)))
    assert terms_of(make_plan(**the_terms(hospital, procedure)).subject, TOMORROW).procedure == procedure


def test_the_window_comes_out_of_the_table_when_none_is_given(hospital: Hospital, procedure: int) -> None:
    set_window(every=6, unit=Unit.MONTH, window=Window.days(21, 21), **by(hospital.odile, JANUARY))
    plan = make_plan(**the_terms(hospital, procedure, window=None)).subject
    set_window(every=6, unit=Unit.MONTH, window=Window.days(7, 7), **by(hospital.odile, NEXT_YEAR))
    assert terms_of(plan, TOMORROW).rule.window == Window.days(21, 21)
    assert terms_of(plan, NEXT_YEAR).rule.window == Window.days(7, 7)


def test_a_change_counts_from_its_day_on_and_leaves_the_days_before(
    hospital: Hospital, procedure: int, plan: int
) -> None:
    change_plan(plan=plan, **the_terms(hospital, procedure))
    assert [terms_of(plan, day).rule.every for day in (TODAY, TOMORROW)] == [12, 6]
    assert Entry.objects.latest("seq").kind == "plan_changed"
    assert PlanTerms.objects.filter(replaced_by__isnull=False).count() == 0


def test_a_plan_says_one_thing_a_day(hospital: Hospital, procedure: int, plan: int) -> None:
    refused(Conflict, lambda: change_plan(plan=plan, **the_terms(hospital, procedure, from_on=TODAY)))


def test_the_past_begins_where_the_day_is_furthest_on(hospital: Hospital, procedure: int, plan: int) -> None:
    """At 13:00 UTC it is already the next day in Auckland (UTC+13 in October)."""
    open_site(label="FL", name="Fallow Lane", time_zone="Pacific/Auckland", from_on=JANUARY, actor=SYSTEM, at=AT)
    at = AT.replace(hour=13)
    refused(DatedBack, lambda: change_plan(plan=plan, **the_terms(hospital, procedure, from_on=TODAY, at=at)))
    refused(DatedBack, lambda: make_plan(**the_terms(hospital, procedure, from_on=TODAY, at=at)))
    one = the_terms(hospital, procedure, device_model=None, device=hospital.device, from_on=TODAY, at=at)
    assert terms_of(make_plan(**one).subject, TODAY).device == hospital.device


def test_an_ended_plan_calls_for_nothing_and_changes_no_more(hospital: Hospital, procedure: int, plan: int) -> None:
    end_plan(plan=plan, note="The tables were sold.", **by(hospital.odile))
    assert [terms_of(plan, day).ended for day in (TODAY, TOMORROW)] == [False, True]
    refused(PlanEnded, lambda: end_plan(plan=plan, **by(hospital.odile, NEXT_YEAR)))
    refused(PlanEnded, lambda: change_plan(plan=plan, **the_terms(hospital, procedure)))
    anchored = {"plan": plan, "device": hospital.device, "anchor_on": JANUARY}
    refused(PlanEnded, lambda: anchor_plan(**anchored, **by(hospital.odile)))
    assert Entry.objects.latest("seq").note.words == "The tables were sold."
    assert verify().sound


def test_an_ended_plan_keeps_what_it_said(hospital: Hospital, procedure: int) -> None:
    asked = the_terms(hospital, procedure, anchor_on=JANUARY, usage_limit="500", usage_unit=UsageUnit.HOURS)
    plan = make_plan(**asked).subject
    end_plan(plan=plan, **by(hospital.odile, NEXT_YEAR))
    before, after = terms_of(plan, TOMORROW), terms_of(plan, NEXT_YEAR)
    kept = [name for name in PlanTermsRecord.__slots__ if name not in ("terms", "from_on", "ended")]
    assert [getattr(after, name) for name in kept] == [getattr(before, name) for name in kept]


def test_a_plan_that_does_not_exist_or_has_not_begun_is_not_ended(hospital: Hospital, procedure: int) -> None:
    refused(UnknownReference, lambda: end_plan(plan=999_999, **by(hospital.odile)))
    refused(UnknownReference, lambda: change_plan(plan=999_999, **the_terms(hospital, procedure)))
    later = a_plan(hospital.odile, procedure, device_model=hospital.model, from_on=NEXT_YEAR)
    refused(PlanNotBegun, lambda: end_plan(plan=later, **by(hospital.odile)))


def test_a_plan_is_not_ended_for_the_past(hospital: Hospital, procedure: int) -> None:
    in_january = dt.datetime(2026, 1, 1, 7, 0, tzinfo=dt.UTC)
    plan = a_plan(hospital.odile, procedure, device_model=hospital.model, from_on=JANUARY, at=in_january)
    refused(DatedBack, lambda: end_plan(plan=plan, **by(hospital.odile, YESTERDAY)))
    refused(DatedBack, lambda: change_plan(plan=plan, **the_terms(hospital, procedure, from_on=YESTERDAY)))
    anchored = {"plan": plan, "device": hospital.device, "anchor_on": YESTERDAY}
    refused(DatedBack, lambda: anchor_plan(**anchored, **by(hospital.odile, YESTERDAY)))


def test_a_change_ahead_does_not_bring_an_ended_plan_back(hospital: Hospital, procedure: int, plan: int) -> None:
    change_plan(plan=plan, **the_terms(hospital, procedure, from_on=NEXT_YEAR))
    refused(LaterTermsStand, lambda: end_plan(plan=plan, **by(hospital.odile)))
    change = PlanTerms.objects.current().get(plan=plan, from_on=NEXT_YEAR)
    deed: dict[str, Any] = {"wrong": change, "actor": hospital.odile, "at": AT}
    refused(ReasonMissing, lambda: take_back_change(reason=" ", **deed))
    take_back_change(reason="It will be ended instead.", **deed)
    refused(AlreadyReplaced, lambda: take_back_change(reason="Once more.", **deed))
    end_plan(plan=plan, **by(hospital.odile))
    assert terms_of(plan, NEXT_YEAR).ended
    assert verify().sound


def test_what_has_begun_is_not_taken_back(hospital: Hospital, procedure: int, plan: int) -> None:
    change_plan(plan=plan, **the_terms(hospital, procedure))
    change = PlanTerms.objects.current().get(plan=plan, from_on=TOMORROW)
    next_day = {"actor": hospital.odile, "at": AT + dt.timedelta(days=1)}
    refused(DatedBack, lambda: take_back_change(wrong=change, reason="A slip.", **next_day))
    ahead = a_plan(hospital.odile, procedure, device_model=hospital.model, from_on=NEXT_YEAR)
    first = PlanTerms.objects.current().get(plan=ahead)
    refused(PlanCannotBeUnmade, lambda: take_back_change(wrong=first, reason="A slip.", actor=hospital.odile, at=AT))


def test_taking_back_a_change_never_leads_to_a_withdrawn_procedure(
    hospital: Hospital, procedure: int, plan: int
) -> None:
    other = a_procedure(hospital.odile, "Other check")
    change_plan(plan=plan, **the_terms(hospital, other))
    withdraw_procedure(procedure=procedure, **by(hospital.odile))
    change = PlanTerms.objects.current().get(plan=plan, from_on=TOMORROW)
    deed: dict[str, Any] = {"wrong": change, "reason": "A slip.", "actor": hospital.odile, "at": AT}
    refused(ProcedureWithdrawn, lambda: take_back_change(**deed))


def test_nothing_deletes_a_plan() -> None:
    assert [name for name in vars(plans) if "delete" in name.lower() or "remove" in name.lower()] == []


def test_a_plan_counts_from_another_day_for_one_device(hospital: Hospital, plan: int) -> None:
    receipt = anchor_plan(
        plan=plan, device=hospital.device, anchor_on=JANUARY, note="Came back from a loan.", **by(hospital.odile)
    )
    anchor = PlanAnchor.objects.current().on(TOMORROW).get(plan=plan, device=hospital.device)
    assert (anchor.anchor_on, anchor.note.words) == (JANUARY, "Came back from a loan.")
    assert (receipt.subject, Entry.objects.latest("seq").kind) == (hospital.device, "plan_anchored")
    assert not PlanAnchor.objects.current().on(TODAY).exists()


def test_a_device_is_anchored_under_its_own_plans_only(hospital: Hospital, procedure: int) -> None:
    light = a_class_of_lights()
    sources = [EnergySource.MAINS]
    lamp = register_model(
        maker="Orvane", name="Flint", device_class=light, energy_sources=sources, from_on=JANUARY, actor=SYSTEM, at=AT
    ).subject
    other = a_device(hospital.odile, lamp, "OF-1", hospital.theatre)
    for target in ({"device_class": light}, {"device_model": lamp}, {"device": other}):
        plan = a_plan(hospital.odile, procedure, **target)
        deed: dict[str, Any] = {"plan": plan, "anchor_on": JANUARY, **by(hospital.odile)}
        refused(NotUnderPlan, lambda deed=deed: anchor_plan(device=hospital.device, **deed))  # type: ignore[misc]
        refused(UnknownReference, lambda deed=deed: anchor_plan(device=999_999, **deed))  # type: ignore[misc]
        anchor_plan(device=other, **deed)
    assert PlanAnchor.objects.current().filter(device=other).count() == 3


def test_that_a_device_needs_no_plan_is_signed_and_taken_back(hospital: Hospital) -> None:
    signed: dict[str, Any] = {"device": hospital.device, "signed_by": hospital.odile.person}
    refused(NothingDeclared, lambda: declare_plan_needed(reason="It does.", **signed, **by(hospital.odile)))
    declare_no_plan_needed(reason="A dummy for training.", **signed, **by(hospital.odile, TODAY))
    declare_plan_needed(reason="It is used on patients now.", **signed, **by(hospital.odile, NEXT_YEAR))
    said = NoPlanNeeded.objects.current().filter(device=hospital.device)
    assert [said.on(day).get().needed for day in (TODAY, NEXT_YEAR)] == [False, True]
    assert said.on(TODAY).get().reason.words == "A dummy for training."
    refused(NothingDeclared, lambda: declare_plan_needed(reason="Again.", **signed, **by(hospital.odile, NEXT_YEAR)))


@pytest.mark.parametrize(
    ("changed", "error"),
    [
        ({"reason": " "}, ReasonMissing),
        ({"from_on": YESTERDAY}, DatedBack),
        ({"signed_by": 999_999}, UnknownReference),
        ({"device": 999_999}, UnknownReference),
    ],
)
def test_a_declaration_that_says_nothing_is_refused(
    hospital: Hospital, changed: dict[str, Any], error: type[Exception]
) -> None:
    asked = {"device": hospital.device, "reason": "A dummy.", "signed_by": hospital.odile.person, **by(hospital.odile)}
    refused(error, lambda: declare_no_plan_needed(**{**asked, **changed}))


def every_deed(hospital: Hospital, procedure: int) -> dict[str, Callable[..., Receipt]]:
    """All that can be said of plans, about one device at the first site."""
    odile, device = hospital.odile, hospital.device
    one: dict[str, Any] = {"device_model": None, "device": device}
    plan = a_plan(odile, procedure, device=device)
    ending = a_plan(odile, procedure, device=device)
    signed: dict[str, Any] = {"device": device, "signed_by": odile.person, "reason": "Asked for."}
    return {
        "make": lambda **who: make_plan(**{**the_terms(hospital, procedure, **one), **who}),
        "change": lambda **who: change_plan(plan=plan, **{**the_terms(hospital, procedure, **one), **who}),
        "end": lambda **who: end_plan(plan=ending, **{**by(odile), **who}),
        "anchor": lambda **who: anchor_plan(plan=plan, device=device, anchor_on=JANUARY, **{**by(odile), **who}),
        "none needed": lambda **who: declare_no_plan_needed(**signed, **{**by(odile), **who}),
        "needed": lambda **who: declare_plan_needed(**signed, **{**by(odile, NEXT_YEAR), **who}),
    }


@pytest.mark.parametrize("role", sorted(set(Role) - {Role.MANAGER, Role.SYSTEM}))
def test_only_a_manager_says_anything_of_plans(hospital: Hospital, procedure: int, role: Role) -> None:
    other = a_person("Wim Ostrava-Keel", role, hospital.alderwick, hospital.stennet)
    for deed in every_deed(hospital, procedure).values():
        refused(NotAllowed, lambda deed=deed: deed(actor=other))  # type: ignore[misc]


def test_a_manager_of_another_site_says_nothing_of_a_device_here(hospital: Hospital, procedure: int) -> None:
    elsewhere = a_person("Wim Ostrava-Keel", Role.MANAGER, hospital.stennet)
    deeds = every_deed(hospital, procedure)
    for deed in deeds.values():
        refused(WrongSite, lambda deed=deed: deed(actor=elsewhere))  # type: ignore[misc]
    assert len(deeds) == 6


def test_retries_get_the_first_receipts(hospital: Hospital, procedure: int) -> None:
    for key, deed in every_deed(hospital, procedure).items():
        request = Request.of(key, {})
        first, again = deed(request=request), deed(request=request)
        assert (again.seq, again.repeated) == (first.seq, True)
