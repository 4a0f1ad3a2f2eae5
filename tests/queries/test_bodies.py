"""No column of an entry can pose as another: the body is written from values of the right types alone."""

from typing import Any

import pytest
from django.db import connection

from pmcore.models import Placement, guards
from pmcore.queries.bodies import body
from pmcore.queries.verification import verify
from tests.history import MARCH, a_move, small_world, written

BODY: dict[str, Any] = {
    "seq": 12, "at": "2026-10-31 07:00:00", "kind": "device_placed", "subject": 7, "person": 9, "role": "manager",
    "note": "ab" * 32, "rows": [], "replaces": [3],
}  # fmt: skip


@pytest.mark.parametrize(
    ("column", "value"),
    [
        ("seq", "12"),
        ("seq", True),
        ("subject", '7,"x":1'),
        ("person", '7,"replaces":[3]'),
        ("person", 7.0),
        ("replaces", ["3"]),
        ("note", b"ab"),
        ("note", 5),
        ("role", 5),
        ("kind", b"device_placed"),
        ("at", b"2026-10-31 07:00:00"),
    ],
)
def test_a_value_of_another_type_has_no_body(column: str, value: Any) -> None:
    assert body(**BODY)
    with pytest.raises(TypeError):
        body(**{**BODY, column: value})


@pytest.mark.django_db
@pytest.mark.skipif("connection.vendor != 'sqlite'", reason="only SQLite keeps text in a column of numbers")
def test_a_correction_cannot_be_moved_into_the_author() -> None:
    world = small_world()
    a_move(world, world.ward, MARCH)
    fact = Placement.objects.current().get(device=world.device, from_on=MARCH)
    correction = written("device_placed", world.device, replaces=[fact], note="No.", actor=world.technician)
    assert verify().sound
    guards.take_down(connection)
    with connection.cursor() as cursor:
        cursor.execute("UPDATE pmcore_placement SET replaced_by = NULL WHERE id = %s", [fact.pk])
        # Written bare, this text gives the very bytes of the correction.
        pretence = f'{world.person},"replaces":[{fact.pk}]'
        cursor.execute("UPDATE pmcore_entry SET person = %s WHERE seq = %s", [pretence, correction.seq])
    found = [(fault.code, fault.seq) for fault in verify().faults]
    assert ("entry_altered", correction.seq) in found
