"""Rules of whom to tell are facts: they are made and changed by few, and nonsense is refused by name."""

import datetime as dt
from typing import Any

import pytest

from pmcore.engines.records import SYSTEM, Actor
from pmcore.engines.vocabulary import AlertKind, Role
from pmcore.models import AlertRule
from pmcore.queries.alert_rules import RuleOnADay, Step, rules_ahead, rules_on
from pmcore.queries.head import head
from pmcore.services.alert_rules import (
    DEFAULTS,
    SENSIBLE_DAYS,
    AlreadySo,
    BadDays,
    BadHour,
    ChangedMeanwhile,
    NobodyToTell,
    NotForThisRole,
    RuleTwice,
    ToldTwice,
    change_rule,
    make_default_rules,
    make_rule,
)
from pmcore.services.plan_rules import DatedBack
from pmcore.services.refusals import NotAllowed, UnknownReference, WrongSite
from tests.cast import AT, Hospital, check_refused

pytestmark = pytest.mark.django_db

TODAY = AT.date()
TOMORROW = TODAY + dt.timedelta(days=1)
LATE = (Step(1, Role.TECHNICIAN), Step(7, Role.SCHEDULER))


def made(actor: Actor = SYSTEM, **changed: Any) -> int:
    given: dict[str, Any] = {
        "kind": AlertKind.OVERDUE, "steps": LATE, "at_once": False, "from_on": TODAY, "actor": actor, "at": AT,
    }  # fmt: skip
    return make_rule(**{**given, **changed}).subject


def changed(rule: int, actor: Actor = SYSTEM, **options: Any) -> int:
    given: dict[str, Any] = {
        "steps": LATE, "at_once": False, "enabled": True, "from_on": TODAY, "actor": actor, "at": AT,
    }  # fmt: skip
    return change_rule(rule=rule, **{**given, **options}).subject


def on(day: dt.date) -> list[RuleOnADay]:
    return rules_on(day, head().size)


def test_a_rule_holds_from_its_day_on(hospital: Hospital) -> None:
    rule = made(hospital.odile, from_on=TOMORROW, site=hospital.stennet, hour=6)
    assert on(TODAY) == []
    assert on(TOMORROW) == [RuleOnADay(rule, AlertKind.OVERDUE, hospital.stennet, False, 6, True, TOMORROW, LATE)]


def test_the_letter_of_the_morning_goes_at_seven_and_what_is_told_at_once_has_no_hour(hospital: Hospital) -> None:
    made(hospital.odile)
    made(hospital.odile, kind=AlertKind.HIGH_RISK_OVERDUE, at_once=True)
    assert [(each.at_once, each.hour) for each in on(TODAY)] == [(False, 7), (True, None)]


def test_of_two_changes_of_one_day_the_last_holds_and_what_was_stays_known(hospital: Hospital) -> None:
    rule = made(hospital.odile)
    size = head().size
    changed(rule, hospital.odile, steps=[Step(3, Role.MANAGER)])
    changed(rule, hospital.wim, enabled=False)
    assert [(each.enabled, each.steps) for each in on(TODAY)] == [(False, LATE)]
    assert [(each.enabled, each.steps) for each in rules_on(TODAY, size)] == [(True, LATE)]


def test_who_says_what_they_saw_overwrites_nobody(hospital: Hospital) -> None:
    rule, seen = made(hospital.odile), head().size
    other = made(hospital.odile, hour=9)
    changed(rule, hospital.wim, hour=6, from_on=TOMORROW, seen=seen)
    with check_refused(ChangedMeanwhile, "since you looked"):
        changed(rule, hospital.odile, enabled=False, seen=seen)
    assert changed(other, hospital.odile, enabled=False, seen=head().size) == other
    assert changed(rule, hospital.odile, enabled=False) == rule


def test_what_holds_already_is_no_change(hospital: Hospital) -> None:
    rule = made(hospital.odile, from_on=TOMORROW)
    with check_refused(AlreadySo, "nothing to change"):
        changed(rule, hospital.odile, steps=LATE[::-1], from_on=TOMORROW + dt.timedelta(days=9))
    assert changed(rule, hospital.odile, from_on=TODAY) == rule
    assert [each.from_on for each in on(TOMORROW)] == [TOMORROW]
    changed(rule, hospital.odile, from_on=TOMORROW, enabled=False)
    with check_refused(AlreadySo):
        changed(rule, hospital.odile, from_on=TOMORROW, enabled=False)


def test_default_rules_are_made_once_and_pass_their_own_checks(hospital: Hospital) -> None:
    assert len(make_default_rules(from_on=TODAY, actor=hospital.odile, at=AT)) == len(DEFAULTS) == len(AlertKind)
    size = head().size
    assert make_default_rules(from_on=TODAY, actor=hospital.odile, at=AT) == []
    assert head().size == size
    assert {each.kind: each.steps for each in on(TODAY)} == {k: tuple(sorted(s)) for k, s in DEFAULTS.items()}
    assert [each.kind for each in on(TODAY) if each.at_once] == [AlertKind.HIGH_RISK_OVERDUE]


def test_a_rule_without_a_recipient_is_refused(hospital: Hospital) -> None:
    with check_refused(NobodyToTell, "a rule without a recipient tells nobody"):
        made(hospital.odile, steps=[])


@pytest.mark.parametrize("kind", AlertKind)
def test_days_that_make_no_sense_are_refused(hospital: Hospital, kind: AlertKind) -> None:
    least, most = SENSIBLE_DAYS[kind]
    for days in (least - 1, most + 1, -400, 10**9):
        with check_refused(BadDays, "whole number"):
            made(hospital.odile, kind=kind, steps=[Step(days, Role.MANAGER)])
    for days in {least, most}:
        assert made(hospital.odile, kind=kind, steps=[Step(days, Role.MANAGER)])


@pytest.mark.parametrize("days", [True, 1.0, "1", None])
def test_days_are_a_number_and_nothing_like_one(hospital: Hospital, days: Any) -> None:
    with check_refused(BadDays):
        made(hospital.odile, steps=[Step(days, Role.MANAGER)])


@pytest.mark.parametrize("hour", [-1, 24, True, 7.0, "7"])
def test_an_hour_is_one_of_the_day(hospital: Hospital, hour: Any) -> None:
    with check_refused(BadHour):
        made(hospital.odile, hour=hour)


def test_what_is_told_at_once_waits_for_no_hour(hospital: Hospital) -> None:
    with check_refused(BadHour, "waits for no hour"):
        made(hospital.odile, at_once=True, hour=7)


def test_the_same_role_twice_at_one_step_is_refused(hospital: Hospital) -> None:
    with check_refused(ToldTwice):
        made(hospital.odile, steps=[Step(1, Role.MANAGER), Step(1, Role.MANAGER)])


def test_a_rule_that_would_tell_the_same_people_twice_is_refused(hospital: Hospital) -> None:
    made(hospital.odile)
    with check_refused(RuleTwice, "such a rule at every site already"):
        made(hospital.odile, steps=list(reversed(LATE)))
    with check_refused(RuleTwice, "at every site already"):
        made(hospital.odile, site=hospital.stennet)
    other = made(hospital.odile, hour=6)
    with check_refused(RuleTwice):
        changed(other, hospital.odile)
    assert changed(other, hospital.odile, enabled=False)


def test_what_is_switched_off_or_of_another_site_tells_nobody_twice(hospital: Hospital) -> None:
    rule = made(hospital.odile, site=hospital.alderwick)
    assert made(hospital.odile, site=hospital.stennet)
    with check_refused(RuleTwice, "at this site already"):
        made(hospital.odile, site=hospital.alderwick)
    assert changed(rule, hospital.odile, hour=6)
    assert changed(rule, hospital.odile)  # as it was
    changed(rule, hospital.odile, enabled=False)
    assert made(hospital.odile, site=hospital.alderwick)


def test_what_is_said_of_later_days_is_told_in_their_order_and_by_its_last_word(hospital: Hospital) -> None:
    rule, later = made(hospital.odile), TOMORROW + dt.timedelta(days=1)
    for day, hour in ((later, 5), (TOMORROW, 6), (later, 8)):
        changed(rule, hospital.odile, from_on=day, hour=hour)
    ahead = rules_ahead(TODAY, head().size)
    assert [(each.from_on, each.hour, each.steps) for each in ahead] == [(TOMORROW, 6, LATE), (later, 8, LATE)]
    assert rules_ahead(later, head().size) == []


@pytest.mark.parametrize("role", [Role.AUDITOR, Role.PROVIDER, Role.SYSTEM])
def test_some_roles_are_told_by_no_rule(hospital: Hospital, role: Role) -> None:
    with check_refused(NotForThisRole):
        made(hospital.odile, steps=[Step(1, role)])


def test_a_rule_of_every_site_is_made_by_somebody_of_every_site(hospital: Hospital) -> None:
    of_one = Actor(hospital.odile.person, Role.MANAGER, frozenset({hospital.alderwick}))
    with check_refused(WrongSite, "every site"):
        made(of_one)
    with check_refused(WrongSite):
        made(of_one, site=hospital.stennet)
    rule = made(hospital.odile)
    with check_refused(WrongSite):
        changed(rule, of_one, enabled=False)
    assert made(of_one, site=hospital.alderwick, hour=6)


def test_what_is_not_there_is_refused(hospital: Hospital) -> None:
    with check_refused(UnknownReference):
        made(hospital.odile, site=hospital.table)
    with check_refused(UnknownReference):
        changed(hospital.table, hospital.odile)


def test_no_rule_begins_in_the_past(hospital: Hospital) -> None:
    with check_refused(DatedBack):
        made(hospital.odile, from_on=TODAY - dt.timedelta(days=1))


def test_administrator_and_manager_make_rules_and_nobody_else(hospital: Hospital) -> None:
    both = frozenset({hospital.alderwick, hospital.stennet})
    there = made()
    for hour, role in enumerate(Role):
        actor = Actor(hospital.ruan.person, role, both)
        if role in {Role.ADMINISTRATOR, Role.MANAGER, Role.SYSTEM}:
            assert changed(made(actor, hour=hour + 8), actor, hour=hour + 16)
            continue
        with check_refused(NotAllowed):
            made(actor)
        with check_refused(NotAllowed):
            changed(there, actor)
        with check_refused(NotAllowed):
            make_default_rules(from_on=TODAY, actor=actor, at=AT)
    assert AlertRule.objects.count() == 4
