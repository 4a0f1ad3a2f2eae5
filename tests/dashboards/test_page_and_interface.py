"""The page and the interface give the same figure, whatever is asked."""

import itertools

import pytest

from pmcore.engines.vocabulary import Grouping, PlanBasis, RiskClass
from tests.dashboards.signed_in import set_clock, signed_in
from tests.story import a_story, day, moment

pytestmark = pytest.mark.django_db

COUNTS = ("due", "met", "met_late", "reason_recorded", "no_reason", "open", "ahead", "suspended", "ended")


def test_over_all_filters(monkeypatch):
    story = a_story()
    other = story.add_device("N-2", area=story.areas[1])
    story.sweep(day(6, 16, 2025), day(5, 1))
    story.inspect(day(7, 10), device=other)
    set_clock(monkeypatch, moment(day(8, 31)))
    client = signed_in(story.manager)
    choices = itertools.product(
        ["2026-06", "2026-07"], [None, *story.sites], [None, story.areas[0]], [None, story.table],
        [None, RiskClass.OTHER, RiskClass.HIGH_RISK], [None, PlanBasis.MAKER, PlanBasis.REGULATION],
        ["2026-07-15", "2026-08-31"],
    )  # fmt: skip
    groupings = itertools.cycle(Grouping)
    # Every seventh: each choice of one filter still meets each of every other.
    for period, site, area, device_class, risk_class, basis, as_of in itertools.islice(choices, 0, None, 7):
        named = {"site": site, "area": area, "device_class": device_class, "risk_class": risk_class, "basis": basis}
        query = {name: str(value) for name, value in named.items() if value is not None}
        query |= {"period": period, "as_of": as_of, "group_by": next(groupings)}
        page = client.get("/compliance/", query).context["report"]
        told = client.get("/api/v1/compliance/", query).json()
        assert [told[name] for name in COUNTS] == [getattr(page.tally, name) for name in COUNTS], query
        assert [[group[name] for name in COUNTS] for group in told["groups"]] == [
            [getattr(group.tally, name) for name in COUNTS] for group in page.groups
        ], query
