"""What is kept never changes an answer: it comes out as though everything were computed from the facts."""

import pytest

from pmcore.engines.vocabulary import Basis, Departure
from pmcore.models import KeptStanding, StandingsMark
from pmcore.queries.head import head
from pmcore.queries.standing_catalogue import catalogue
from pmcore.queries.standing_rows import Standing
from pmcore.queries.standings import standings_of
from pmcore.services import keep_standings as keeping
from pmcore.services.departures import leave_inventory
from pmcore.services.devices import move_device
from pmcore.services.keep_standings import Overtaken, keep_standings
from tests.story import Story, a_story, day

pytestmark = pytest.mark.django_db


def a_ward(counts_from: Basis = Basis.ANCHORED) -> Story:
    """Three devices of one plan, swept; the first is inspected."""
    story = a_story(counts_from, swept=())
    story.add_device("OM-2")
    story.add_device("OM-3")
    story.sweep(day(6, 16, 2025), day(5, 1))
    story.inspect(day(6, 10))
    return story


def kept() -> set[tuple[int, ...]]:
    return set(KeptStanding.objects.values_list(*Standing._fields))


def computed() -> set[tuple[int, ...]]:
    devices = KeptStanding.objects.values_list("device", flat=True)
    return set(standings_of(set(devices), catalogue(head().size)))


def without_keeping(story: Story, known: int) -> object:
    StandingsMark.objects.update(size=2**40)
    try:
        return story.report(known=known)
    finally:
        StandingsMark.objects.update(size=head().size)


def test_the_columns_are_those_of_a_standing():
    assert {field.name for field in KeptStanding._meta.concrete_fields} == {*Standing._fields, "size"}


def test_a_run_keeps_every_standing_and_another_adds_nothing():
    a_ward()
    assert keep_standings() == head().size
    first = kept()
    assert len(first) > 3
    assert first == computed()
    assert keep_standings() == head().size
    assert kept() == first


def test_after_more_entries_only_the_devices_concerned_are_computed_anew():
    story = a_ward()
    before = keep_standings()
    leave_inventory(device=story.device, departure=Departure.SOLD, from_on=day(7, 1), **story.by(day(7, 1)))
    after = keep_standings()
    sizes = dict(KeptStanding.objects.values_list("device", "size"))
    assert sizes.pop(story.device) == after
    assert set(sizes.values()) == {before}
    assert kept() == computed()


def test_an_answer_is_the_same_while_what_is_kept_lags_behind():
    story = a_ward()
    keep_standings()
    story.inspect(day(6, 12), device=KeptStanding.objects.exclude(device=story.device).first().device)
    lagging = story.report()
    keep_standings()
    assert lagging == story.report()
    assert lagging.tally.met == 2


def test_a_size_before_the_mark_is_computed_from_the_facts():
    story = a_ward()
    then = head().size
    at_the_time = story.report(known=then)
    move_device(device=story.device, area=story.areas[1], from_on=day(6, 1), **story.by(day(8, 1)))
    keep_standings()
    assert story.report(known=then) == at_the_time
    assert story.report() != at_the_time


def test_rows_that_are_newer_than_the_size_asked_for_do_not_count():
    story = a_ward()
    then = keep_standings()
    at_the_time = story.report(known=then, as_of=day(6, 12))
    other = KeptStanding.objects.exclude(device=story.device).first().device
    story.inspect(day(6, 12), device=other)
    keep_standings()
    StandingsMark.objects.update(size=then)  # as it is while a run replaces row by row
    assert story.report(known=then, as_of=day(6, 12)) == at_the_time
    assert story.report(as_of=day(6, 12)).tally.met == at_the_time.tally.met + 1


def test_a_change_that_concerns_every_device_is_seen_at_once():
    story = a_ward()
    keep_standings()
    story.add_device("OM-4")
    now = head().size
    assert story.report(known=now) == without_keeping(story, now)


def test_of_two_runs_the_older_one_stops(monkeypatch):
    a_ward()
    real = keeping.standings_of

    def overtaken(devices, facts):
        StandingsMark.objects.update(run=StandingsMark.objects.get().run + 1)
        return real(devices, facts)

    monkeypatch.setattr(keeping, "standings_of", overtaken)
    with pytest.raises(Overtaken):
        keep_standings()
    assert StandingsMark.objects.get().size == 0
    assert kept() == set()
    monkeypatch.undo()
    assert keep_standings() == head().size


def test_a_run_that_is_killed_between_two_chunks_is_repeated(monkeypatch):
    story = a_ward()
    monkeypatch.setattr(keeping, "DEVICES_AT_ONCE", 1)

    def killed(done, of):
        raise KeyboardInterrupt

    with pytest.raises(KeyboardInterrupt):
        keep_standings(killed)
    assert KeptStanding.objects.exists()
    assert StandingsMark.objects.get().size == 0
    half_way = story.report()
    keep_standings()
    assert story.report() == half_way
    assert kept() == computed()
