"""Managers offer reads alone: every other way is refused by name, before the database is asked."""

from collections.abc import Callable

import pytest

from pmcore.models import Device, Entry, Placement, Text
from pmcore.models.base import NotAskedAsKnown, Recorded, RecordIsAppendOnly
from pmcore.queries.head import head
from tests.history import AT, MARCH, day, small_history

pytestmark = pytest.mark.django_db

WAYS: dict[str, Callable[[type[Recorded]], object]] = {
    "create": lambda model: model.objects.create(),
    "get_or_create": lambda model: model.objects.get_or_create(pk=1_000_000),
    "update_or_create": lambda model: model.objects.update_or_create(pk=1_000_000),
    "bulk_create": lambda model: model.objects.bulk_create([model()]),
    "bulk_update": lambda model: model.objects.bulk_update(model.objects.all(), ["entry"]),
    "update": lambda model: model.objects.update(entry=1),
    "delete": lambda model: model.objects.all().delete(),
    "save": lambda model: model.objects.first().save(),
    "save of a new one": lambda model: model(pk=1_000_000).save(),
    "save_base, as loaddata calls it": lambda model: model.save_base(model.objects.first(), raw=True),
    "delete of one": lambda model: model.objects.first().delete(),
    "raw delete": lambda model: model.objects.all()._raw_delete("default"),
}


@pytest.mark.parametrize("model", [Device, Placement, Text, Entry], ids=lambda model: model.record_name())
@pytest.mark.parametrize("way", WAYS)
def test_no_way_but_append(model: type[Recorded], way: str) -> None:
    small_history()
    before = list(model.objects.order_by("pk").values())
    with pytest.raises(RecordIsAppendOnly, match=model.record_name()):
        WAYS[way](model)
    assert list(model.objects.order_by("pk").values()) == before


def test_known_shows_what_was_known_at_each_size() -> None:
    world = small_history()
    size = head().size
    by_size = {
        known: [str(p.from_on) for p in Placement.objects.known(known).filter(device=world.device).order_by("from_on")]
        for known in range(size - 5, size + 1)
    }
    assert list(by_size.values()) == [
        ["2026-01-01"],
        ["2026-01-01", "2026-03-01"],
        ["2026-01-01", "2026-04-01"],
        ["2026-01-01", "2026-04-01", "2026-06-01"],
        ["2026-01-01", "2026-04-01"],
        ["2026-01-01", "2026-04-01"],
    ]


def test_on_finds_the_fact_in_force_on_a_day() -> None:
    world = small_history()

    def place(on: str) -> list[int]:
        return list(
            Placement.objects.current().on(day(on)).filter(device=world.device).values_list("area_id", flat=True)
        )

    assert place("2025-12-31") == []
    assert place("2026-03-31") == [world.theatre]
    assert place("2026-04-01") == [world.ward]


def test_on_as_known_ignores_what_came_later() -> None:
    world = small_history()
    before_the_correction = Placement.objects.get(from_on=MARCH).entry
    then = Placement.objects.known(before_the_correction).on(day("2026-03-15")).get(device=world.device)
    now = Placement.objects.current().on(day("2026-03-15")).get(device=world.device)
    assert (then.area_id, now.area_id) == (world.ward, world.theatre)


def test_on_wants_to_be_told_what_is_known() -> None:
    with pytest.raises(NotAskedAsKnown):
        Placement.objects.on(AT.date())


def test_a_filter_between_keeps_what_is_known() -> None:
    world = small_history()
    first = Placement.objects.get(from_on=MARCH).entry
    placement = Placement.objects.known(first).filter(device=world.device).order_by("pk").on(day("2026-03-15")).get()
    assert placement.from_on == MARCH
