"""No plan reaches out of the calendar, nor puts off what it calls for by an anchor far ahead: one such plan would stop
the nightly work of every site."""

import datetime as dt

import pytest

from pmcore.engines.vocabulary import Basis, Unit
from pmcore.models import DueInspection
from pmcore.services.devices import KnownTooLate
from pmcore.services.plan_rules import AnchorTooFar, IntervalRefused
from pmcore.services.plans import anchor_plan
from tests.cast import check_refused
from tests.story import a_story, day

pytestmark = pytest.mark.django_db


@pytest.mark.parametrize("basis", list(Basis))
@pytest.mark.parametrize(
    ("every", "unit"), [(2**31 - 1, Unit.DAY), (2_610, Unit.WEEK), (601, Unit.MONTH), (51, Unit.YEAR)]
)
def test_an_interval_beyond_fifty_years_is_refused(basis: Basis, every: int, unit: Unit) -> None:
    story = a_story()
    with check_refused(IntervalRefused):
        story.add_plan(day(5, 2), name="Rare", counts_from=basis, every=every, unit=unit)


def test_an_interval_of_fifty_years_is_called_for() -> None:
    story = a_story()
    plan = story.add_plan(day(5, 2), name="Rare", every=50, unit=Unit.YEAR, counts_from=Basis.FLOATING)
    story.sweep(day(5, 3))
    assert DueInspection.objects.get(plan=plan).due_on == day(6, 15, 2075)


@pytest.mark.parametrize("anchor_on", [day(5, 3, 2027), dt.date.max])
def test_an_anchor_more_than_an_interval_ahead_is_refused(anchor_on: dt.date) -> None:
    story = a_story(last_done=None)
    with check_refused(AnchorTooFar):
        anchor_plan(plan=story.plan, device=story.device, anchor_on=anchor_on, from_on=day(5, 2), **story.by(day(5, 2)))
    with check_refused(AnchorTooFar):
        story.add_plan(day(5, 2), name="Another", anchor_on=anchor_on)


def test_an_anchor_one_interval_ahead_is_taken() -> None:
    story = a_story()
    on = day(5, 2)
    anchor_plan(plan=story.plan, device=story.device, anchor_on=day(5, 2, 2027), from_on=on, **story.by(on))
    story.sweep(day(5, 3))
    assert DueInspection.objects.filter(device=story.device, due_on=day(5, 2, 2027)).exists()


def test_a_device_known_only_after_it_came_is_refused() -> None:
    story = a_story()
    with check_refused(KnownTooLate):
        story.add_device("OM-2", on=day(5, 2), known_from_on=day(5, 3))
