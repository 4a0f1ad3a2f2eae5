"""Each row is one: it is written once, and an entry opens no thing but its subject."""

import pytest

from pmcore.engines.records import SYSTEM
from pmcore.models import Device, Placement, Site
from pmcore.models.rows import Row
from pmcore.services.append import Draft, append_many
from pmcore.services.refusals import AnotherSubject, RowTwice
from tests.cast import check_refused
from tests.history import AT, MARCH, World, small_world, written

pytestmark = pytest.mark.django_db


@pytest.fixture
def world() -> World:
    return small_world()


@pytest.fixture
def row(world: World) -> Row:
    return Row(Placement, device=world.device, area=world.ward, from_on=MARCH)


def test_a_row_stands_once_in_an_entry(world: World, row: Row) -> None:
    with check_refused(RowTwice):
        written("device_placed", world.device, row, row)


def test_a_row_stands_in_one_entry(world: World, row: Row) -> None:
    with check_refused(RowTwice):
        append_many([Draft("device_placed", world.device, [row]) for _ in range(2)], actor=SYSTEM, at=AT)


def test_an_entry_opens_no_second_subject(world: World) -> None:
    first, second = Row(Site), Row(Site)
    with check_refused(AnotherSubject):
        written("site_opened", first, first, second)
    with check_refused(AnotherSubject):
        written("device_registered", world.device, Row(Device))
