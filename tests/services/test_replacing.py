"""A correction replaces facts of its own subject, as they are stored; nothing that the caller holds is believed."""

from typing import Any

import pytest

from pmcore.models import Device, ItemDetails, PartItem, Placement, Redaction, Text, Withdrawal
from pmcore.models.rows import Row
from pmcore.queries.columns import BadValue
from pmcore.queries.verification import verify
from pmcore.services.redaction import redact_text
from pmcore.services.refusals import AlreadyReplaced, AnotherSubject, UnknownKind, UnknownReference
from tests.cast import check_refused
from tests.history import AT, MARCH, SYSTEM, World, a_device, a_move, day, small_world, some_due, written

pytestmark = pytest.mark.django_db


@pytest.fixture
def world() -> World:
    return small_world()


def moved(world: World) -> Placement:
    a_move(world, world.ward, MARCH)
    found: Placement = Placement.objects.current().get(device=world.device, from_on=MARCH)
    return found


def test_a_fact_that_was_changed_in_memory_is_still_of_its_own_device(world: World) -> None:
    other, fact = a_device(world.model, "OM-2"), moved(world)
    fact.device_id = other
    with check_refused(AnotherSubject):
        written("device_placed", other, replaces=[fact], note="No.")


def test_a_fact_about_a_thing_of_another_device_is_not_replaced(world: World) -> None:
    other = a_device(world.model, "OM-2")
    due = some_due(world, day("2026-06-15")).first_id
    row = Row(Withdrawal, due_inspection=due, from_on=MARCH, withdrawn=True, reason="plan_ended")
    written("due_withdrawn", world.device, row)
    fact = Withdrawal.objects.get()
    with check_refused(AnotherSubject):
        written("due_withdrawn", other, replaces=[fact], note="No.")
    written("due_withdrawn", world.device, replaces=[fact], note="It stays due.")
    assert verify().sound


def test_what_names_no_device_is_not_replaced_under_one(world: World) -> None:
    item = Row(PartItem)
    written("part_registered", item, item, Row(ItemDetails, item=item, from_on=MARCH, serial="B-1"))
    with check_refused(AnotherSubject):
        written("part_fitted", world.device, replaces=[ItemDetails.objects.get()], note="No.")


def test_a_redaction_is_not_taken_back(world: World) -> None:
    digest = Text.objects.get(words="Ines Caddock").digest
    redact_text(digest=digest, reason="Asked for.", actor=SYSTEM, at=AT)
    with check_refused(AnotherSubject):
        written("text_redacted", world.person, replaces=[Redaction.objects.get()], note="No.")


def test_a_fact_is_replaced_once(world: World) -> None:
    fact = moved(world)
    with check_refused(BadValue, "named twice"):
        written("device_placed", world.device, replaces=[fact, fact], note="No.")
    written("device_placed", world.device, replaces=[fact], note="Taken back.")
    with check_refused(AlreadyReplaced):
        written("device_placed", world.device, replaces=[fact], note="Again.")


@pytest.mark.parametrize("odd", [7, None, "7", Device(pk=7), Placement(), Placement(pk="7"), Placement(pk=2**60)])
def test_what_is_no_recorded_fact_is_refused_by_name(world: World, odd: Any) -> None:
    with check_refused(BadValue, "a recorded fact is wanted"):
        written("device_placed", world.device, replaces=[odd], note="No.")


def test_a_fact_that_is_not_there_is_refused_by_name(world: World) -> None:
    with check_refused(UnknownReference, "987654"):
        written("device_placed", world.device, replaces=[Placement(pk=987_654)], note="No.")


def test_a_fact_of_another_kind_is_refused_by_name(world: World) -> None:
    fact = moved(world)
    with check_refused(UnknownKind):
        written("tag_set", world.device, replaces=[fact], note="No.")
