"""The figure split by month, site, area, risk class, device class and basis; narrowed by the same."""

import pytest

from pmcore.engines.compliance import Share
from pmcore.engines.vocabulary import Grouping, PlanBasis, RiskClass
from pmcore.services.risk import override_risk
from tests.story import Story, a_story, day, numbers

pytestmark = pytest.mark.django_db

YEAR = (day(1, 1), day(12, 31))


def two_wards() -> Story:
    """A met, B not; B is high-risk, of another model, under another plan with another basis, due in September."""
    story = a_story(swept=())
    sedge = story.add_model("Sedge")
    second = story.add_device("OS-1", device_model=sedge, area=story.areas[1])
    story.add_plan(
        name="Lifts", device_model=sedge, anchor_on=day(9, 15, 2025), basis=PlanBasis.ALTERNATE, on=day(1, 3, 2025)
    )
    override_risk(
        device=second, risk_class=RiskClass.HIGH_RISK, reason="Lifts people.", signed_by=story.person,
        from_on=day(1, 3, 2025), **story.by(day(1, 3, 2025)),
    )  # fmt: skip
    story.sweep(day(6, 16, 2025), day(5, 1))
    story.inspect(day(6, 10))
    return story


@pytest.mark.parametrize(
    ("group_by", "expected"),
    [
        (Grouping.MONTH, [("2026-07", 1, 1), ("2026-10", 1, 0)]),
        (Grouping.SITE, [("Alderwick General", 1, 1), ("Stennet Point", 1, 0)]),
        (Grouping.AREA, [("Theatre 1", 1, 1), ("Theatre 1", 1, 0)]),
        (Grouping.RISK_CLASS, [("high risk", 1, 0), ("other", 1, 1)]),
        (Grouping.DEVICE_CLASS, [("Surgical table", 2, 1)]),
        (Grouping.BASIS, [("maker", 1, 1), ("alternate programme", 1, 0)]),
    ],
)
def test_groups_add_up_to_the_whole(group_by, expected):
    report = two_wards().report(*YEAR, as_of=day(12, 31), group_by=group_by)
    assert [(group.label, group.tally.due, group.tally.met) for group in report.groups] == expected
    assert numbers(report) == (2, 1)


def test_each_filter_narrows():
    story = two_wards()

    def asked(**only):
        return numbers(story.report(*YEAR, as_of=day(12, 31), **only))

    assert asked(sites=frozenset({story.sites[1]})) == (1, 0)
    assert asked(areas=frozenset({story.areas[0]})) == (1, 1)
    assert asked(device_classes=frozenset({story.table})) == (2, 1)
    assert asked(risk_classes=frozenset({RiskClass.HIGH_RISK})) == (1, 0)
    assert asked(bases=frozenset({PlanBasis.MAKER})) == (1, 1)
    assert asked(sites=frozenset()) == (0, 0)


def test_rule_21_the_high_risk_list_holds_the_alternate_programme_too():
    story = two_wards()
    (missed,) = story.report(*YEAR, as_of=day(12, 31)).lists.high_risk_misses
    assert (missed.risk_class, missed.basis) == (RiskClass.HIGH_RISK, PlanBasis.ALTERNATE)
    assert str(story.report(*YEAR, as_of=day(12, 31)).labels[missed.device]) == "Orvane Sedge, serial OS-1"


def test_the_census_belongs_to_the_places_and_not_to_risk_or_basis():
    story = two_wards()
    on = day(12, 31)
    assert story.report(*YEAR, as_of=on).census == Share(1, 2)
    assert story.report(*YEAR, as_of=on, risk_classes=frozenset({RiskClass.OTHER})).census == Share(1, 2)
    assert story.report(*YEAR, as_of=on, sites=frozenset({story.sites[0]})).census == Share(0, 1)
    assert story.report(*YEAR, as_of=on, sites=frozenset({story.sites[1]})).census == Share(1, 1)
