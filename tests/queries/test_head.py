"""Size and root of the history, now and at any earlier size."""

import pytest

from pmcore.engines.merkle import root
from pmcore.engines.records import SYSTEM
from pmcore.models import Entry, Placement, guards
from pmcore.models.rows import Row
from pmcore.queries.head import BeyondTheHistory, RecordDamaged, head, root_at
from pmcore.queries.verification import verify
from pmcore.services.append import Draft, append_many
from tests.history import AT, JANUARY, small_history

pytestmark = pytest.mark.django_db


def leaves() -> list[bytes]:
    return [bytes(leaf) for leaf in Entry.objects.order_by("seq").values_list("leaf", flat=True)]


def test_an_empty_history_has_the_root_of_the_empty_tree() -> None:
    assert head().size == 0
    assert head().root == root([])
    assert root_at(0) == root([])


def test_the_root_at_every_size_is_that_of_its_leaves() -> None:
    world = small_history()
    many = [
        Draft("device_placed", world.device,
              [Row(Placement, device=world.device, area=world.ward, from_on=JANUARY.replace(day=number))])
        for number in range(2, 9)
    ]  # fmt: skip
    append_many(many, actor=SYSTEM, at=AT)
    assert [root_at(size) for size in range(len(leaves()) + 1)] == [
        root(leaves()[:size]) for size in range(len(leaves()) + 1)
    ]
    assert head().root == root(leaves())


@pytest.mark.parametrize("size", [-1, 100_000])
def test_a_size_that_the_history_never_had_is_refused(size: int) -> None:
    with pytest.raises(BeyondTheHistory):
        root_at(size)


def test_a_newest_entry_without_its_edge_is_named_as_damage() -> None:
    small_history()
    from django.db import connection

    guards.take_down(connection)
    with connection.cursor() as cursor:
        cursor.execute("UPDATE pmcore_entry SET edge = NULL WHERE seq = (SELECT max(seq) FROM pmcore_entry)")
    with pytest.raises(RecordDamaged):
        head()
    assert [fault.code for fault in verify().faults] == ["head_damaged"]


def test_the_head_costs_one_statement(django_assert_num_queries: object) -> None:
    small_history()
    with django_assert_num_queries(1):  # type: ignore[operator]
        head()
