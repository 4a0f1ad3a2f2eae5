"""What is said to whoever comes before the window opens: rule 6 of the measures, as standings count it later."""

import datetime as dt

import pytest

from pmcore.engines.vocabulary import Basis
from pmcore.queries.due_list import due_items
from pmcore.queries.early_work import EarlyWork, early_work
from pmcore.queries.head import head
from tests.story import Story, a_story, day

pytestmark = pytest.mark.django_db

EARLY = day(5, 10)


def item(story: Story, on: dt.date, due_on: dt.date | None = None):
    due = story.due(due_on).pk
    return due_items([due], as_of=on, known=head().size, actor=story.manager)[0]


def told(story: Story, on: dt.date, due_on: dt.date | None = None) -> EarlyWork | None:
    return early_work(item(story, on, due_on), on=on, known=head().size)


def test_once_the_window_has_opened_there_is_nothing_to_say():
    assert told(a_story(), day(5, 16)) is None


@pytest.mark.parametrize(
    ("basis", "on", "says"),
    [
        (Basis.FLOATING, EARLY, EarlyWork(EARLY, True, None, False)),
        (Basis.ANCHORED, EARLY, EarlyWork(EARLY, False, None, True)),
        (Basis.FLOATING, day(9, 1, 2025), EarlyWork(day(9, 1, 2025), False, None, False)),
        (Basis.ANCHORED, day(9, 1, 2025), EarlyWork(day(9, 1, 2025), False, None, False)),
    ],
)
def test_it_counts_after_half_the_interval_where_the_plan_floats_or_is_moved(basis, on, says):
    assert told(a_story(basis), on) == says


@pytest.mark.parametrize("basis", [Basis.FLOATING, Basis.ANCHORED])
@pytest.mark.parametrize("on", [EARLY, day(9, 1, 2025)])
def test_what_is_said_is_what_the_standings_count_afterwards(basis, on):
    story = a_story(basis)
    said = told(story, on)
    re_anchored = {"re_anchor_plan": story.plan} if said.can_re_anchor else {}
    story.inspect(on, **re_anchored)
    assert (item(story, day(5, 12)).state == "met") == (said.counts or said.can_re_anchor)


def test_where_an_older_one_is_undone_the_work_counts_for_that():
    story = a_story()
    story.sweep(day(6, 1), day(7, 20))
    assert told(story, day(7, 20), day(6, 15, 2027)) == EarlyWork(day(7, 20), False, day(6, 15), False)
