"""The figure takes a fixed number of statements, however many devices there are and whatever is asked."""

import pytest
from django.db import connection
from django.test.utils import CaptureQueriesContext

from pmcore.engines.vocabulary import Grouping, RiskClass
from pmcore.services.keep_standings import keep_standings
from tests.story import Story, a_story, day

pytestmark = pytest.mark.django_db

STATEMENTS = 33  # one of them asks for the size of the history


def statements(story: Story, **asked) -> int:
    with CaptureQueriesContext(connection) as captured:
        story.report(**asked)
    return len(captured)


def a_kept_story(devices: int) -> Story:
    story = a_story(swept=())
    for number in range(devices - 1):
        story.add_device(f"N-{number}")
    story.sweep(day(6, 16, 2025), day(5, 1))
    story.inspect(day(6, 10))
    keep_standings()
    return story


@pytest.mark.parametrize("devices", [1, 12])
def test_the_number_of_statements_is_fixed(devices):
    assert statements(a_kept_story(devices)) == STATEMENTS


def test_filters_and_groups_by_a_word_add_none():
    story = a_kept_story(3)
    narrowed = {"sites": frozenset({story.sites[0]}), "risk_classes": frozenset({RiskClass.OTHER})}
    assert statements(story, **narrowed, group_by=Grouping.RISK_CLASS) == STATEMENTS
    assert statements(story, as_of=day(12, 31), group_by=Grouping.MONTH) == STATEMENTS


@pytest.mark.parametrize("group_by", [Grouping.SITE, Grouping.AREA, Grouping.DEVICE_CLASS])
def test_names_of_groups_take_one_more(group_by):
    assert statements(a_kept_story(2), group_by=group_by) == STATEMENTS + 1
