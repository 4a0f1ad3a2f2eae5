"""A scene draws from its own stream: without it, everything that it does not touch is as it was."""

from typing import Any

import pytest

from pmcore.models import Attempt, DeviceIdentity, Entry, Reading, TagHeld
from pmcore.services.demo.fleet import machines
from pmcore.services.demo.parameters import quillmere
from pmcore.services.demo.rota import Rota
from pmcore.services.demo.scenes.listed import SCENES
from pmcore.services.demo.world import World
from tests.services.demo.building import A_FEW, built

pytestmark = pytest.mark.django_db

SEED = 11


def inspected() -> set[tuple[Any, ...]]:
    """What was read, by tag and day."""
    tags = dict(TagHeld.objects.values_list("device", "tag"))
    rows = Reading.objects.values_list(
        "session__inspection__device", "session__performed_on", "step", "outcome", "as_found", "session__performed_at"
    )
    return {(tags[device], *rest) for device, *rest in rows}


def tried() -> set[tuple[Any, ...]]:
    tags = dict(TagHeld.objects.values_list("device", "tag"))
    rows = Attempt.objects.values_list("due_inspection__device", "tried_at", "outcome")
    return {(tags[device], *rest) for device, *rest in rows}


@pytest.fixture(scope="module")
def with_all(django_db_setup: None, django_db_blocker: Any) -> tuple[set[Any], set[Any]]:
    with built(django_db_blocker, seed=SEED, devices=A_FEW):
        return inspected(), tried()


@pytest.mark.parametrize("scene", SCENES, ids=lambda scene: scene.name)
def test_without_a_scene_the_rest_is_as_it_was(scene, with_all, django_db_blocker):
    parameters = quillmere()
    world = World(parameters, SEED, machines(parameters, SEED, A_FEW))
    keys = scene.changes(world, Rota(parameters, SEED)) if scene.changes else {}
    tags = {machine.number: machine.tag for machine in world.fleet}
    touched = {tags[number] for number, _, _ in keys}
    others = [each for each in SCENES if each is not scene]
    with built(django_db_blocker, seed=SEED, devices=A_FEW, scenes=others):
        for before, after in zip(with_all, (inspected(), tried()), strict=True):
            assert {row for row in before if row[0] not in touched} == {row for row in after if row[0] not in touched}
        assert Entry.objects.exists()
        assert DeviceIdentity.objects.count() == A_FEW
