"""An entry is signed by a person of the record, or by the service, in a role that there is."""

from typing import Any

import pytest

from pmcore.engines.records import Actor
from pmcore.engines.vocabulary import Role
from pmcore.queries.columns import BadValue
from pmcore.services.refusals import UnknownReference
from tests.cast import check_refused
from tests.history import MARCH, World, a_move, small_world

pytestmark = pytest.mark.django_db


def name_of(value: Any) -> str:
    return type(value).__name__  # a number of thousands of digits has no text to name a test by


@pytest.fixture
def world() -> World:
    return small_world()


@pytest.mark.parametrize("person", ["7", True, 7.0, 0, -1, 2**60, 10**5000, [7]], ids=name_of)
def test_a_person_is_an_id(world: World, person: Any) -> None:
    with check_refused(BadValue, r"entry\.person"):
        a_move(world, world.ward, MARCH, actor=Actor(person, Role.TECHNICIAN, None))


def test_the_person_is_in_the_record(world: World) -> None:
    for nobody in (987_654, world.device):
        with check_refused(UnknownReference, "no person"):
            a_move(world, world.ward, MARCH, actor=Actor(nobody, Role.TECHNICIAN, None))


@pytest.mark.parametrize("role", ["technician", None, 5, "king"])
def test_the_role_is_one_of_the_vocabulary(world: World, role: Any) -> None:
    with check_refused(BadValue, r"entry\.role"):
        a_move(world, world.ward, MARCH, actor=Actor(world.person, role, None))


def test_an_actor_is_wanted(world: World) -> None:
    with check_refused(BadValue, r"an actor is wanted"):
        a_move(world, world.ward, MARCH, actor=None)
