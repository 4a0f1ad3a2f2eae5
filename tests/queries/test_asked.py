"""A figure is refused, by name, for a day or a size that cannot be told."""

import datetime as dt

import pytest

from pmcore.engines.records import Actor
from pmcore.engines.vocabulary import Role
from pmcore.queries.asked import AsOfAhead, BadPeriod, KnownBeyond, OutsideYourSites
from pmcore.queries.compliance import ComplianceFilter
from pmcore.queries.head import head
from tests.story import a_story, day

pytestmark = pytest.mark.django_db


def test_rule_25_a_day_after_today():
    story = a_story()
    with pytest.raises(AsOfAhead, match="2026-07-31 lies after today, 2026-07-30"):
        story.report(as_of=day(7, 31), today=day(7, 30))
    assert story.report(as_of=day(7, 30), today=day(7, 30)).as_of == day(7, 30)


def test_rule_25_a_day_after_the_last_moment_of_the_size_asked_for():
    story = a_story()
    size = head().size
    story.inspect(day(6, 10))  # the next entry: the record had `size` entries until this day
    with pytest.raises(AsOfAhead, match="until 2026-06-10"):
        story.report(as_of=day(7, 31), known=size)
    assert story.report(as_of=day(6, 10), known=size).known == size


@pytest.mark.parametrize("beyond", [1, 10**9])
def test_a_size_that_the_history_has_not_reached(beyond):
    story = a_story()
    with pytest.raises(KnownBeyond):
        story.report(known=head().size + beyond)


def test_a_negative_size():
    with pytest.raises(KnownBeyond):
        a_story().report(known=-1)


def test_a_period_that_ends_before_it_begins():
    with pytest.raises(BadPeriod):
        ComplianceFilter(dt.date(2026, 7, 31), dt.date(2026, 7, 1))


def test_a_site_that_the_actor_is_no_member_of():
    story = a_story()
    guest = Actor(story.person, Role.MANAGER, frozenset({story.sites[0]}))
    with pytest.raises(OutsideYourSites):
        story.report(actor=guest, sites=frozenset(story.sites))
    assert story.report(actor=guest).tally.due == 1


def test_an_actor_sees_their_own_sites_only():
    story = a_story()
    elsewhere = Actor(story.person, Role.MANAGER, frozenset({story.sites[1]}))
    report = story.report(actor=elsewhere)
    assert report.tally.due == 0
    assert report.coverage.share.denominator == 0


def test_an_empty_record_has_no_data():
    story = a_story(last_done=None, with_device=False, swept=())
    report = story.report()
    assert str(report.tally.share) == "no data"
    assert str(report.coverage.share) == "no data"
    assert str(report.census) == "no data"
