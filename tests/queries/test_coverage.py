"""The inventory on a day: the kept stretches and the facts give the same answer, day by day."""

import datetime as dt

import pytest

from pmcore.engines.compliance import Share
from pmcore.engines.vocabulary import Departure
from pmcore.models import KeptCoverage, StandingsMark
from pmcore.queries.coverage import Inventory, Places, inventory_on
from pmcore.queries.head import head
from pmcore.services.departures import leave_inventory
from pmcore.services.devices import move_device
from pmcore.services.keep_standings import keep_standings
from pmcore.services.plans import declare_no_plan_needed, declare_plan_needed, end_plan
from tests.story import Story, a_story, day

pytestmark = pytest.mark.django_db

DAYS = [day(1, 1, 2025), day(1, 2, 2025), *(day(month, 1) for month in range(1, 13)), day(6, 10), day(6, 11)]


def a_changing_inventory() -> tuple[Story, list[int]]:
    """One under a plan that ends, one that leaves, one that moves and is signed to need none for a while."""
    story = a_story(last_done=None, swept=())
    chert = story.add_model("Chert")
    leaves, excused = story.add_device("OM-2"), story.add_device("OC-1", day(2, 1), device_model=chert)
    words = {"device": excused, "signed_by": story.person}
    declare_no_plan_needed(**words, reason="A stool.", from_on=day(3, 1), **story.by(day(3, 1)))
    move_device(device=excused, area=story.areas[1], from_on=day(4, 1), **story.by(day(4, 1)))
    leave_inventory(device=leaves, departure=Departure.SOLD, from_on=day(6, 11), **story.by(day(6, 11)))
    declare_plan_needed(**words, reason="It lifts.", from_on=day(8, 1), **story.by(day(8, 1)))
    end_plan(plan=story.plan, from_on=day(10, 1), **story.by(day(9, 30)))
    return story, [story.device, leaves, excused]


def by_facts(on: dt.date, places: Places, among: list[int]) -> Inventory:
    mark = StandingsMark.objects.values_list("size", flat=True).first()
    StandingsMark.objects.update(size=2**40)
    try:
        return inventory_on(on, head().size, places, among)
    finally:
        StandingsMark.objects.update(size=mark)


def test_the_days_of_a_changing_inventory():
    a_changing_inventory()
    shares = {on: inventory_on(on, head().size, Places()).covered for on in DAYS}
    assert shares[day(1, 1, 2025)] == Share(0, 0)
    assert shares[day(1, 1)] == Share(2, 2)
    assert shares[day(2, 1)] == Share(2, 3)
    assert shares[day(3, 1)] == Share(3, 3)
    assert shares[day(6, 10)] == Share(3, 3)
    assert shares[day(6, 11)] == Share(2, 2)
    assert shares[day(8, 1)] == Share(1, 2)
    assert shares[day(10, 1)] == Share(0, 2)


def test_kept_stretches_answer_as_the_facts_do():
    story, devices = a_changing_inventory()
    keep_standings()
    assert KeptCoverage.objects.count() > len(devices)
    for places in (Places(), Places(sites={story.sites[1]}), Places(areas={story.areas[0]}), Places(sites=set())):
        for on in DAYS:
            assert inventory_on(on, head().size, places, devices) == by_facts(on, places, devices)


def test_a_device_written_about_since_is_computed_and_the_rest_is_kept():
    story, devices = a_changing_inventory()
    keep_standings()
    leave_inventory(device=devices[2], departure=Departure.SOLD, from_on=day(9, 1), **story.by(day(12, 1)))
    kept = inventory_on(day(9, 2), head().size, Places(), devices)
    assert kept == by_facts(day(9, 2), Places(), devices)
    assert kept.covered == Share(1, 1)


def test_what_is_asked_as_known_before_stays():
    story, devices = a_changing_inventory()
    then = head().size
    at_the_time = inventory_on(day(9, 2), then, Places(), devices)
    leave_inventory(device=devices[2], departure=Departure.SOLD, from_on=day(9, 1), **story.by(day(12, 1)))
    keep_standings()
    assert inventory_on(day(9, 2), then, Places(), devices) == at_the_time
