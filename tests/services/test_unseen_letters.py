"""No serial number or tag differs from another by something that nobody can see. A note may hold what a script or a
picture character needs."""

import pytest

from pmcore.models import Placement, TagHeld
from pmcore.models.rows import Row
from pmcore.queries.columns import BadValue
from tests.history import MARCH, small_world, written

pytestmark = pytest.mark.django_db

UNSEEN = ["\u034f", "\u115f", "\u1160", "\u17b4", "\u180b", "\u2800", "\u3164", "\ufe0f", "\uffa0", "\U000e0100"]


@pytest.mark.parametrize("unseen", UNSEEN)
def test_a_tag_with_an_unseen_letter_is_refused(unseen: str) -> None:
    world = small_world()
    row = Row(TagHeld, device=world.device, from_on=MARCH, tag=f"T-1{unseen}7")
    with pytest.raises(BadValue, match="cannot be seen"):
        written("tag_set", world.device, row)


def test_a_note_may_choose_the_form_of_a_character() -> None:
    world = small_world()
    row = Row(Placement, device=world.device, area=world.ward, from_on=MARCH)
    written("device_placed", world.device, row, note="Handle with care \u2764\ufe0f")
    assert Placement.objects.filter(device=world.device, from_on=MARCH).exists()
