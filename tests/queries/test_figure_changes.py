"""Two figures that differ are explained by the entries that make the difference, and by no others."""

import pytest

from pmcore.engines.vocabulary import Counted, Departure
from pmcore.models import InspectionSession
from pmcore.queries.asked import KnownBeyond
from pmcore.queries.compliance import ComplianceFilter
from pmcore.queries.figure_changes import figure_changes
from pmcore.queries.head import head
from pmcore.services.departures import leave_inventory
from pmcore.services.devices import set_tag
from pmcore.services.inspections import take_back_session
from tests.story import FAR, JULY, Story, a_story, day

pytestmark = pytest.mark.django_db


def changes(story: Story, before: int):
    return figure_changes(
        ComplianceFilter(*JULY), as_of=day(8, 31), known=head().size, before=before, today=FAR, actor=story.manager
    )


def test_a_late_entry_is_named_with_what_it_changed():
    story = a_story()
    before = head().size
    set_tag(device=story.device, tag="T-9", from_on=day(8, 2), **story.by(day(8, 2)))
    entered = story.inspect(day(7, 10), recorded=day(8, 20))
    set_tag(device=story.device, tag="T-10", from_on=day(8, 22), **story.by(day(8, 22)))
    (change,) = changes(story, before)
    assert (change.was, change.becomes) == (Counted.NO_REASON, Counted.MET)
    assert [(entry.seq, entry.kind) for entry in change.entries] == [(entered.seq, "inspection_recorded")]
    assert change.device.tag == "T-10"


def test_each_turn_of_a_figure_is_named():
    story = a_story()
    before = head().size
    entered = story.inspect(day(7, 10), recorded=day(8, 1))
    wrong = InspectionSession.objects.get(entry=entered.seq)
    undone = take_back_session(wrong=wrong, reason="Another table.", **story.by(day(8, 2)))
    left = leave_inventory(device=story.device, departure=Departure.SOLD, from_on=day(6, 10), **story.by(day(8, 3)))
    (change,) = changes(story, before)
    assert (change.was, change.becomes) == (Counted.NO_REASON, Counted.REASON_RECORDED)
    assert [entry.seq for entry in change.entries] == [entered.seq, undone.seq, left.seq]


def test_nothing_changed():
    story = a_story()
    before = head().size
    set_tag(device=story.device, tag="T-9", from_on=day(8, 2), **story.by(day(8, 2)))
    assert changes(story, before) == []


def test_a_due_inspection_that_was_not_in_the_figure():
    story = a_story(swept=[day(6, 16, 2025)])
    before = 5
    (change,) = [each for each in changes(story, before) if each.becomes == Counted.NO_REASON]
    assert change.was is None
    assert [entry.kind for entry in change.entries] == ["inspections_due"]


def test_a_size_beyond_the_history():
    story = a_story()
    with pytest.raises(KnownBeyond):
        changes(story, head().size + 1)


@pytest.mark.parametrize(("tried", "explained"), [(0, 0), (1, 1), (2, 1), (3, 2), (None, 2)])
def test_so_many_entries_are_tried_altogether(tried, explained):
    """One about a device before the other's two."""
    story = a_story()
    other = story.add_device("N-2")
    story.sweep(day(6, 16, 2025), day(5, 1))
    before = head().size
    for device in (story.device, other):
        story.inspect(day(7, 10), recorded=day(8, 20), device=device)
    story.inspect(day(7, 12), recorded=day(8, 21), device=other)
    found = figure_changes(
        ComplianceFilter(*JULY), as_of=day(8, 31), known=head().size, before=before, today=FAR, actor=story.manager,
        tried=tried,
    )  # fmt: skip
    assert [change.entries is not None for change in found] == [True] * explained + [False] * (2 - explained)


def test_entries_are_looked_for_on_so_many_devices_only():
    story = a_story()
    other = story.add_device("N-2")
    story.sweep(day(6, 16, 2025), day(5, 1))
    before = head().size
    for device in (story.device, other):
        story.inspect(day(7, 10), recorded=day(8, 20), device=device)
    first, second = figure_changes(
        ComplianceFilter(*JULY), as_of=day(8, 31), known=head().size, before=before, today=FAR, actor=story.manager,
        explained=1,
    )  # fmt: skip
    assert first.entries is not None
    assert (second.entries, second.becomes) == (None, Counted.MET)
