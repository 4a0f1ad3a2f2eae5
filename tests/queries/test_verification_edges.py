"""The edges that entries carry are a cache: losing one changes nothing that is proven, a false one is named."""

import pytest
from django.db import connection

from pmcore.models import Entry, guards
from pmcore.queries.head import RecordDamaged, head, root_at
from pmcore.queries.verification import verify
from tests.history import small_history

pytestmark = pytest.mark.django_db


def set_edge(value: str, where: str) -> None:
    guards.take_down(connection)
    with connection.cursor() as cursor:
        cursor.execute(f"UPDATE pmcore_entry SET edge = {value} WHERE {where}")
        assert cursor.rowcount


def test_every_edge_but_the_newest_can_be_lost() -> None:
    small_history()
    size = head().size
    roots, root = [root_at(known) for known in range(size + 1)], verify().root
    set_edge("NULL", f"seq < {size}")
    report = verify()
    assert (report.faults, report.root) == ([], root)
    assert [root_at(known) for known in range(size + 1)] == roots


def test_a_false_edge_is_named_though_nothing_is_proven_with_it() -> None:
    small_history()
    set_edge("(SELECT edge FROM pmcore_entry WHERE seq = 4)", "seq = 8")
    assert [(fault.code, fault.seq) for fault in verify().faults] == [("edge_altered", 8)]


@pytest.mark.parametrize("size", [0, 31, 33, 320])
def test_an_edge_that_is_none_is_a_damaged_record_to_whoever_asks_for_a_root(size: int) -> None:
    small_history()
    zeros = "00" * size
    edge = f"x'{zeros}'" if connection.vendor == "sqlite" else f"decode('{zeros}', 'hex')"
    set_edge(edge, "seq = 5")
    with pytest.raises(RecordDamaged, match="The stored edge at entry 5 is none"):
        root_at(5)
    set_edge(edge, f"seq = {Entry.objects.count()}")
    with pytest.raises(RecordDamaged, match=f"The stored edge at entry {Entry.objects.count()} is none"):
        head()


@pytest.mark.skipif("connection.vendor != 'sqlite'", reason="only SQLite stores it")
@pytest.mark.parametrize(("column", "stored"), [("edge", "'edge'"), ("edge", "7"), ("last_id", "'end'")])
def test_a_newest_entry_of_other_types_is_a_damaged_record(column: str, stored: str) -> None:
    small_history()
    guards.take_down(connection)
    with connection.cursor() as cursor:
        cursor.execute(f"UPDATE pmcore_entry SET {column} = {stored} WHERE seq = {Entry.objects.count()}")
    with pytest.raises(RecordDamaged):
        head()


def test_a_leaf_that_is_none_is_a_damaged_record_to_whoever_needs_it() -> None:
    small_history()
    set_edge("NULL", "seq = 5")
    with connection.cursor() as cursor:
        cursor.execute("UPDATE pmcore_entry SET leaf = edge WHERE seq = 3")  # two hashes
        cursor.execute("UPDATE pmcore_entry SET edge = NULL WHERE seq = 3")
    with pytest.raises(RecordDamaged, match="A leaf of the entries 3 to 3 is none"):
        root_at(3)
