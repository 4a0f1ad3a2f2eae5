"""A follower reads every entry once, in order, however many write meanwhile."""

import threading
from collections.abc import Sequence
from typing import Any

import pytest
from django.db import connection, connections

from pmcore.models import Entry, Follower, guards
from pmcore.queries.head import RecordDamaged, head
from pmcore.services.followers import follow
from tests.history import a_move as move
from tests.history import day, small_history, small_world
from tests.services.test_append_concurrently import at_once


def ignore(entries: Sequence[Entry]) -> None:
    """A handler for those who only want the watermark moved."""


@pytest.mark.django_db
def test_it_reads_in_order_and_in_portions() -> None:
    small_history()
    seen: list[int] = []
    while follow(name="alerts", handle=lambda entries: seen.extend(entry.seq for entry in entries), limit=3):
        pass
    assert seen == list(range(1, head().size + 1))
    assert Follower.objects.get(name="alerts").seen == head().size


@pytest.mark.django_db
def test_two_followers_do_not_disturb_one_another() -> None:
    small_history()
    assert follow(name="alerts", handle=ignore) == follow(name="mail", handle=ignore) == head().size


@pytest.mark.django_db
def test_what_the_handler_raised_comes_again() -> None:
    small_history()

    def fail(entries: Sequence[Entry]) -> None:
        Follower.objects.create(name="written by the handler")
        raise RuntimeError("the mail folder is full")

    with pytest.raises(RuntimeError):
        follow(name="alerts", handle=fail)
    assert Follower.objects.get(name="alerts").seen == 0
    assert not Follower.objects.filter(name="written by the handler").exists()
    assert follow(name="alerts", handle=ignore) == head().size


@pytest.mark.django_db
def test_it_stops_before_a_gap_and_says_so() -> None:
    small_history()
    guards.take_down(connection)
    with connection.cursor() as cursor:
        cursor.execute("DELETE FROM pmcore_entry WHERE seq = 5")
    seen: list[int] = []
    assert follow(name="alerts", handle=lambda entries: seen.extend(entry.seq for entry in entries)) == 4
    with pytest.raises(RecordDamaged, match="Entry 5 is missing"):
        follow(name="alerts", handle=lambda entries: seen.extend(entry.seq for entry in entries))
    assert seen == [1, 2, 3, 4]
    assert Follower.objects.get(name="alerts").seen == 4


@pytest.mark.django_db(transaction=True)
def test_nothing_is_missed_while_eight_write() -> None:
    world = small_world()
    seen: list[int] = []
    written = threading.Event()

    def write(number: int) -> None:
        for turn in range(8):
            move(world, world.ward, day(f"2026-{number + 1:02}-{turn + 10:02}"))

    def read() -> None:
        while True:
            last = written.is_set()
            if not follow(name="alerts", handle=lambda entries: seen.extend(e.seq for e in entries)) and last:
                break
        connections.close_all()

    reader = threading.Thread(target=read)
    reader.start()
    results = at_once(8, write)
    written.set()
    reader.join()
    assert results == [None] * 8
    assert seen == list(range(1, head().size + 1))


@pytest.mark.django_db(transaction=True)
def test_of_four_workers_of_one_follower_each_entry_reaches_one() -> None:
    small_history()
    seen: list[int] = []

    def work(_: int) -> None:
        while Follower.objects.filter(name="alerts", seen=head().size).count() == 0:
            follow(name="alerts", handle=lambda entries: seen.extend(e.seq for e in entries), limit=2)

    assert at_once(4, work) == [None] * 4
    assert seen == list(range(1, head().size + 1))


@pytest.mark.django_db(transaction=True)
def test_who_read_before_another_worker_was_done_hands_over_nothing() -> None:
    small_history()
    seen: list[int] = []
    handling, also_read = threading.Event(), threading.Event()

    def quick(entries: Sequence[Entry]) -> None:
        handling.set()
        assert also_read.wait(30)
        seen.extend(entry.seq for entry in entries)

    def tell_when_read(execute: Any, sql: str, *rest: Any) -> Any:
        result = execute(sql, *rest)
        if sql.startswith("SELECT") and Entry._meta.db_table in sql:
            also_read.set()
        return result

    def work(number: int) -> int:
        if number == 0:
            return follow(name="alerts", handle=quick)
        assert handling.wait(30)
        with connection.execute_wrapper(tell_when_read):
            return follow(name="alerts", handle=lambda entries: seen.extend(e.seq for e in entries))

    assert at_once(2, work) == [head().size, 0]
    assert seen == list(range(1, head().size + 1))
