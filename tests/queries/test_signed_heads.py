"""The heads that were signed, as of a day and as known at a size; and what the page about the history costs."""

import datetime as dt

import pytest

from pmcore.engines.records import Actor
from pmcore.engines.vocabulary import Role
from pmcore.queries.head import head
from pmcore.queries.history_page import history_page
from pmcore.queries.signed_heads import heads_page
from pmcore.services.signing import sign_growth
from tests.export.building import NOW
from tests.history import MARCH, a_move, small_world

pytestmark = pytest.mark.django_db

LATER = NOW + dt.timedelta(days=1)


@pytest.fixture
def sizes(settings, tmp_path):
    """Of two heads, signed a day apart."""
    settings.DATA, settings.SIGNING_KEY = tmp_path, tmp_path / "signing-key"
    world = small_world()
    first = sign_growth(at=NOW)
    a_move(world, world.ward, MARCH)
    second = sign_growth(at=LATER)
    return first.size, second.size


def listed(**asked):
    asked = {"as_of": LATER.date(), "known": head().size, "after": None, "limit": 10, **asked}
    return [each.size for each in heads_page(**asked).records]


def test_they_are_told_as_of_a_day_and_as_known(sizes, django_assert_num_queries):
    assert listed() == list(sizes)
    assert listed(as_of=NOW.date()) == [sizes[0]]
    assert listed(known=sizes[0]) == [sizes[0]]
    with django_assert_num_queries(1):
        heads_page(as_of=LATER.date(), known=sizes[1], after=None, limit=10)


def test_they_come_page_by_page(sizes):
    asked = {"as_of": LATER.date(), "known": sizes[1], "limit": 1}
    first = heads_page(after=None, **asked)
    second = heads_page(after=first.after, **asked)
    assert [page.records[0].size for page in (first, second)] == list(sizes)
    assert second.after is None


def test_the_page_about_the_history_costs_seven_statements(sizes, django_assert_num_queries):
    with django_assert_num_queries(7):
        found = history_page(Actor(None, Role.AUDITOR, None))
    assert [each.size for each in found.heads] == list(reversed(sizes))
