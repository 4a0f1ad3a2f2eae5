"""The interface answers with the figure that the query gives, whatever is asked."""

import itertools

import pytest
import time_machine

from pmcore.engines.vocabulary import Grouping, PlanBasis, RiskClass, Role
from pmcore.queries.compliance import ComplianceFilter, compliance
from pmcore.queries.head import head
from pmcore.services.accounts import create_account, create_token
from tests.api.callers import PASSWORD, Caller
from tests.story import FAR, JULY, a_story, day, moment

pytestmark = pytest.mark.django_db

COUNTS = ("due", "met", "met_late", "reason_recorded", "no_reason", "open", "ahead", "suspended", "ended")


@pytest.fixture
def story():
    story = a_story()
    other = story.add_device("N-2", area=story.areas[1])
    story.sweep(day(6, 16, 2025), day(5, 1))
    story.inspect(day(7, 10), device=other)
    with time_machine.travel(moment(day(8, 31)), tick=False):
        yield story


def a_caller() -> Caller:
    create_account(
        username="ines", password=PASSWORD, name="Ines", role=Role.AUDITOR, site_labels=["AG", "SP"],
        at=moment(day(8, 1)), on=day(1, 1, 2025),
    )  # fmt: skip
    return Caller(create_token(username="ines", label="tests", at=moment(day(8, 1))))


def test_the_figure_is_the_same_over_all_filters(story):
    caller = a_caller()
    choices = itertools.product(
        [None, story.sites[0]], [None, RiskClass.OTHER, RiskClass.LIFE_SUPPORT], [None, PlanBasis.MAKER],
        [None, *Grouping], [day(7, 31), day(8, 31)],
    )  # fmt: skip
    for site, risk, basis, group_by, as_of in choices:
        asked = ComplianceFilter(
            *JULY,
            sites=frozenset({site}) if site else None,
            risk_classes=frozenset({risk}) if risk else None,
            bases=frozenset({basis}) if basis else None,
        )
        report = compliance(asked, as_of=as_of, known=head().size, today=FAR, actor=story.manager, group_by=group_by)
        query = {"period": "2026-07", "as_of": as_of.isoformat()}
        named = {"site": site, "risk_class": risk, "basis": basis, "group_by": group_by}
        query |= {name: str(value) for name, value in named.items() if value is not None}
        answer = caller.get("compliance/", query).json()
        assert [answer[name] for name in COUNTS] == [getattr(report.tally, name) for name in COUNTS]
        assert answer["due"] == sum(answer[name] for name in COUNTS[1:5])
        if group_by is None:
            assert answer["groups"] is None
        else:
            told = [(group["key"], *(group[name] for name in COUNTS)) for group in answer["groups"]]
            assert told == [
                (str(group.key), *(getattr(group.tally, name) for name in COUNTS)) for group in report.groups
            ]


def test_the_figure_can_be_asked_as_known_before(story):
    caller = a_caller()
    before = head().size
    story.inspect(day(7, 10), recorded=day(8, 20))
    asked = {"period": "2026-07", "as_of": "2026-08-15"}
    now = caller.get("compliance/", asked).json()
    then = caller.get("compliance/", asked | {"known": before}).json()
    assert (now["met"], then["met"]) == (2, 1)
    (change,) = caller.get("compliance/changes/", {"period": "2026-07", "since": before}).json()["changes"]
    assert (change["was"], change["becomes"]) == ("no_reason", "met")
    assert [entry["kind"] for entry in change["entries"]] == ["inspection_recorded"]


def test_misses_stand_by_name(story):
    lists = a_caller().get("compliance/", {"period": "2026-07"}).json()["lists"]
    assert set(lists) >= {"high_risk_misses", "early", "late_entered", "gaps", "moved", "ended", "suspended"}
