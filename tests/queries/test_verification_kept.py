"""Figures are counted from kept standings: whoever alters those is found, though the history is sound."""

import pytest
from django.db.models import F

from pmcore.models import KeptCoverage, KeptStanding, StandingsMark
from pmcore.queries.head import head
from pmcore.queries.verification import verify
from pmcore.services.devices import set_tag
from pmcore.services.keep_standings import keep_standings
from tests.story import Story, a_story, day

pytestmark = pytest.mark.django_db


@pytest.fixture
def story() -> Story:
    story = a_story()
    keep_standings()
    assert verify().sound
    return story


def found() -> list[str]:
    return [fault.code for fault in verify().faults]


def test_a_miss_that_was_made_met(story: Story) -> None:
    KeptStanding.objects.update(completed_on=F("closes_on"))
    assert found() == ["kept_altered"]


def test_a_standing_that_is_gone(story: Story) -> None:
    KeptStanding.objects.all().delete()
    assert found() == ["kept_altered"]


def test_coverage_that_was_made_up(story: Story) -> None:
    KeptCoverage.objects.update(device=F("device") + 1_000)
    assert found() == ["kept_altered", "kept_altered"]


def test_a_mark_that_was_moved_ahead(story: Story) -> None:
    story.inspect(day(6, 20))
    StandingsMark.objects.update(size=head().size)
    assert found() == ["kept_altered"]


def test_what_was_written_since_is_no_fault(story: Story) -> None:
    set_tag(device=story.device, tag="T-9", from_on=day(5, 2), **story.by(day(5, 2)))
    story.inspect(day(6, 20))
    assert found() == []
