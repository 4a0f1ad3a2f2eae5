"""Risk is scored by class and overridden by device; a lower class takes two people and looks forward."""

import datetime as dt
from typing import Any

import pytest

from pmcore.engines.records import Actor
from pmcore.engines.vocabulary import RiskClass, Role
from pmcore.queries.head import head
from pmcore.queries.risk import risk_facts
from pmcore.services.corrections import ReasonMissing
from pmcore.services.plan_rules import DatedBack
from pmcore.services.plans import SignedTwiceByOne
from pmcore.services.refusals import NotAllowed, UnknownReference, WrongSite
from pmcore.services.risk import (
    NothingToScore,
    SecondSignatureMissing,
    UnknownLevel,
    assess_class,
    name_risk_table,
    override_risk,
)
from tests.cast import AT, JANUARY, Hospital, a_person, check_refused

pytestmark = pytest.mark.django_db

TODAY = AT.date()
POINTS = {("function", "supports"): 5, ("function", "moves"): 8, ("harm", "injury"): 4, ("harm", "none"): 1}
GRAVE, MILD = {"function": "moves", "harm": "injury"}, {"function": "supports", "harm": "none"}


def a_table(hospital: Hospital, **changed: Any) -> int:
    given: dict[str, Any] = {
        "name": "Scores", "source": "The department", "points": POINTS, "included_from": 5, "high_risk_from": 12,
        "from_on": JANUARY, "actor": hospital.odile, "at": AT,
    }  # fmt: skip
    return name_risk_table(**{**given, **changed}).subject


def assessed(hospital: Hospital, table: int, levels: dict[str, str], **changed: Any) -> int:
    given: dict[str, Any] = {
        "device_class": hospital.table, "table": table, "levels": levels, "assessed_by": hospital.odile.person,
        "from_on": TODAY, "actor": hospital.odile, "at": AT,
    }  # fmt: skip
    return assess_class(**{**given, **changed}).seq


def overridden(hospital: Hospital, risk_class: RiskClass | None, **changed: Any) -> int:
    given: dict[str, Any] = {
        "device": hospital.device, "risk_class": risk_class, "reason": "It carries people.", "from_on": TODAY,
        "signed_by": hospital.odile.person, "actor": hospital.odile, "at": AT,
    }  # fmt: skip
    return override_risk(**{**given, **changed}).seq


def of_device(hospital: Hospital, on: dt.date = TODAY) -> RiskClass:
    return risk_facts(head().size).of_device(hospital.device, on)


def test_a_class_is_scored_by_its_table(hospital: Hospital) -> None:
    table = a_table(hospital)
    assert of_device(hospital) == RiskClass.OTHER
    assessed(hospital, table, GRAVE)
    assert of_device(hospital) == RiskClass.HIGH_RISK
    assert of_device(hospital, TODAY - dt.timedelta(days=1)) == RiskClass.OTHER


@pytest.mark.parametrize("levels", [{}, {"function": "moves"}, {**GRAVE, "weather": "wet"}, {**GRAVE, "harm": "death"}])
def test_levels_that_the_table_does_not_know_are_refused(hospital: Hospital, levels: dict[str, str]) -> None:
    table = a_table(hospital)
    with check_refused(UnknownLevel):
        assessed(hospital, table, levels)


def test_an_unknown_table_and_an_empty_one_are_refused(hospital: Hospital) -> None:
    with check_refused(UnknownLevel):
        assessed(hospital, hospital.device, GRAVE)
    with check_refused(UnknownReference):
        assessed(hospital, 10**6, {})
    with check_refused(NothingToScore):
        a_table(hospital, points={})


def test_a_lower_score_takes_a_second_signature_and_looks_forward(hospital: Hospital) -> None:
    table = a_table(hospital)
    other = a_person("Ines Caddock", Role.MANAGER, hospital.alderwick)
    assessed(hospital, table, GRAVE, from_on=JANUARY)
    with check_refused(SecondSignatureMissing):
        assessed(hospital, table, MILD)
    with check_refused(SignedTwiceByOne):
        assessed(hospital, table, MILD, second_signature=hospital.odile.person)
    with check_refused(DatedBack):
        assessed(hospital, table, MILD, second_signature=other.person, from_on=TODAY - dt.timedelta(days=1))
    assessed(hospital, table, MILD, second_signature=other.person)
    assert of_device(hospital) == RiskClass.OTHER
    assert of_device(hospital, TODAY - dt.timedelta(days=1)) == RiskClass.HIGH_RISK


def test_a_person_raises_one_device_and_gives_it_back(hospital: Hospital) -> None:
    other = a_person("Ines Caddock", Role.MANAGER, hospital.alderwick)
    overridden(hospital, RiskClass.LIFE_SUPPORT, from_on=JANUARY)
    assert of_device(hospital) == RiskClass.LIFE_SUPPORT
    with check_refused(SecondSignatureMissing):
        overridden(hospital, None)
    overridden(hospital, None, second_signature=other.person)
    assert of_device(hospital) == RiskClass.OTHER


def test_who_may_and_where(hospital: Hospital) -> None:
    with check_refused(NotAllowed):
        overridden(hospital, RiskClass.HIGH_RISK, actor=hospital.ruan)
    with check_refused(WrongSite):
        elsewhere = Actor(hospital.odile.person, Role.MANAGER, frozenset({hospital.stennet}))
        overridden(hospital, RiskClass.HIGH_RISK, actor=elsewhere)
    with check_refused(ReasonMissing):
        overridden(hospital, RiskClass.HIGH_RISK, reason=" ")
