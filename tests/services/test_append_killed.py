"""A process that is killed at any line of an append leaves the entry whole, or nothing of it."""

import os

import pytest

from pmcore.models import Placement
from pmcore.models.rows import Row
from pmcore.queries.head import head
from pmcore.queries.verification import verify
from pmcore.services import append as writer
from pmcore.services import inserts, lock, preparation
from tests.history import MARCH, World, day, small_world, written
from tests.kills import comes_to_its_end

pytestmark = [
    pytest.mark.django_db(transaction=True),
    pytest.mark.skipif(not hasattr(os, "fork"), reason="the kill needs a fork"),
]


def correct(world: World, wrong: Placement) -> None:
    """A correction with free text."""
    right = Row(Placement, device=world.device, area=world.theatre, from_on=day("2026-04-01"))
    written("device_placed", world.device, right, replaces=[wrong], note="It was April.")


def test_a_kill_at_any_line_leaves_all_or_nothing() -> None:
    world = small_world()
    written("device_placed", world.device, Row(Placement, device=world.device, area=world.ward, from_on=MARCH))
    wrong = Placement.objects.current().get(device=world.device, from_on=MARCH)
    before = head().size
    kills = 0
    while not comes_to_its_end(lambda: correct(world, wrong), {writer, preparation, inserts, lock}, kills + 1):
        kills += 1
        assert verify().sound
        written_whole = head().size == before + 1
        assert Placement.objects.filter(pk=wrong.pk, replaced_by__isnull=not written_whole).exists()
        if written_whole:
            break  # killed after the commit: all of it is there
    assert kills > 50
    assert head().size == before + 1
    assert verify().sound
