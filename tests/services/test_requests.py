"""A request that comes twice is answered once."""

import pytest

from pmcore.engines.records import SYSTEM
from pmcore.models import Entry, Placement, TagHeld
from pmcore.models.rows import Row
from pmcore.queries.columns import BadValue
from pmcore.queries.head import head
from pmcore.services.append import Draft, append_many
from pmcore.services.refusals import RequestReused
from pmcore.services.requests import Receipt, Request
from tests.cast import check_refused
from tests.history import AT, MARCH, World, a_move, small_world, written

pytestmark = pytest.mark.django_db


@pytest.fixture
def world() -> World:
    return small_world()


def test_the_same_key_with_the_same_content_gives_the_first_answer(world: World) -> None:
    request = Request.of("tablet-7-0001", {"device": world.device, "area": world.ward})
    first = a_move(world, world.ward, MARCH, request=request)
    size = head().size
    again = a_move(world, world.ward, MARCH, request=request)
    assert again == Receipt(first.seq, first.subject, first.first_id, first.last_id, repeated=True)
    assert head().size == size


def test_the_same_key_with_another_content_is_an_error(world: World) -> None:
    a_move(world, world.ward, MARCH, request=Request.of("tablet-7-0001", {"area": world.ward}))
    size = head().size
    with pytest.raises(RequestReused, match="tablet-7-0001"):
        a_move(world, world.theatre, MARCH, request=Request.of("tablet-7-0001", {"area": world.theatre}))
    assert head().size == size


def test_two_people_may_use_the_same_key(world: World) -> None:
    request = Request.of("0001", {"area": world.ward})
    a_move(world, world.ward, MARCH, request=request)
    other = a_move(world, world.ward, MARCH.replace(day=2), request=request, actor=world.technician)
    assert not other.repeated


def test_the_key_stands_outside_the_body(world: World) -> None:
    with_key = a_move(world, world.ward, MARCH, request=Request.of("0001", {}))
    entry = Entry.objects.get(seq=with_key.seq)
    assert entry.request_key == "0001"
    from pmcore.queries.verification import verify

    assert verify().sound


def test_the_same_key_for_another_deed_is_an_error(world: World) -> None:
    request = Request.of("tablet-7-0001", {"device": world.device})
    a_move(world, world.ward, MARCH, request=request)
    tag = Row(TagHeld, device=world.device, from_on=MARCH, tag="T-1")
    with check_refused(RequestReused):
        written("tag_set", world.device, tag, request=request)


def test_a_request_of_several_entries_is_answered_with_a_receipt_for_each(world: World) -> None:
    request = Request.of("tablet-7-0001", {"device": world.device})

    def sent(*kinds: str) -> list[Receipt]:
        rows = {
            "device_placed": Row(Placement, device=world.device, area=world.ward, from_on=MARCH),
            "tag_set": Row(TagHeld, device=world.device, from_on=MARCH, tag="T-1"),
        }
        drafts = [Draft(kind, world.device, [rows[kind]]) for kind in kinds]
        return append_many(drafts, actor=SYSTEM, at=AT, request=request)

    first = sent("device_placed", "tag_set")
    a_move(world, world.theatre, MARCH.replace(day=2))
    assert sent("device_placed", "tag_set") == [receipt._replace(repeated=True) for receipt in first]
    assert [receipt.seq for receipt in first] == [first[0].seq, first[0].seq + 1]
    for kinds in (["device_placed"], ["tag_set", "device_placed"], ["tag_set"]):
        with check_refused(RequestReused):
            sent(*kinds)


@pytest.mark.parametrize("key", ["", "x" * 101, "tab\tkey", "clé"])
def test_a_key_that_cannot_be_kept_is_refused(key: str) -> None:
    with pytest.raises(BadValue, match="request_key"):
        Request.of(key, {})
