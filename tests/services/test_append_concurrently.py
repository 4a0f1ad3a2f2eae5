"""Several hands at once: one correction wins, nothing is lost, nobody waits for ever."""

import threading
from collections import Counter
from collections.abc import Callable
from typing import Any

import pytest
from django.db import connection, connections

from pmcore.models import Entry, Placement
from pmcore.models.rows import Row
from pmcore.queries.head import head
from pmcore.queries.verification import verify
from pmcore.services import lock
from pmcore.services.lock import writing
from pmcore.services.refusals import AlreadyReplaced, RecordBusy
from pmcore.services.requests import Request
from tests.history import MARCH, World, a_move, day, small_world, written

pytestmark = pytest.mark.django_db(transaction=True)


def at_once(count: int, work: Callable[[int], Any]) -> list[Any]:
    """Run the work in so many threads that start together; give back what each returned or raised."""
    results: list[Any] = [None] * count
    start = threading.Barrier(count)

    def run(number: int) -> None:
        try:
            start.wait()
            results[number] = work(number)
        except Exception as error:
            results[number] = error
        finally:
            connections.close_all()

    threads = [threading.Thread(target=run, args=(number,)) for number in range(count)]
    for thread in threads:
        thread.start()
    for thread in threads:
        thread.join()
    return results


def test_of_twenty_corrections_of_one_row_one_wins() -> None:
    world = small_world()
    a_move(world, world.ward, MARCH)
    wrong = Placement.objects.current().get(device=world.device, from_on=MARCH)
    size = head().size

    def correct(number: int) -> Any:
        right = Row(Placement, device=world.device, area=world.theatre, from_on=MARCH.replace(day=number + 1))
        return written("device_placed", world.device, right, replaces=[wrong], note=f"Thread {number}.")

    results = at_once(20, correct)
    outcomes = Counter(type(result).__name__ for result in results)
    assert outcomes == {"Receipt": 1, AlreadyReplaced.__name__: 19}
    assert head().size == size + 1
    assert Placement.objects.current().filter(device=world.device).count() == 2
    assert verify().sound


def test_of_ten_sendings_of_one_request_one_is_written() -> None:
    world = small_world()
    request = Request.of("tablet-0001", {"area": world.ward})
    size = head().size
    results = at_once(10, lambda _: a_move(world, world.ward, MARCH, request=request))
    assert {result.seq for result in results} == {size + 1}
    assert sorted(result.repeated for result in results) == [False] + [True] * 9


def test_eight_writers_leave_no_gap() -> None:
    world = small_world()
    size = head().size

    def write(number: int) -> None:
        for turn in range(5):
            a_move(world, world.ward, day(f"2026-{number + 1:02}-{turn + 10:02}"))

    assert at_once(8, write) == [None] * 8
    assert list(Entry.objects.order_by("seq").values_list("seq", flat=True)) == list(range(1, size + 41))
    assert verify().sound


@pytest.fixture
def short_patience(monkeypatch: pytest.MonkeyPatch) -> None:
    """Wait for the lock a moment only: the real limits are in the settings and in `services.lock`."""
    if connection.vendor == "sqlite":
        with connection.cursor() as cursor:
            cursor.execute("PRAGMA busy_timeout = 200")
    else:
        monkeypatch.setattr(lock, "_PATIENCE", "200ms")


def test_who_waits_too_long_for_the_lock_is_told_when_to_try_again(short_patience: None, world: World) -> None:
    held, done = threading.Event(), threading.Event()

    def hold() -> None:
        try:
            with writing():
                held.set()
                done.wait(30)
        finally:
            connections.close_all()

    holder = threading.Thread(target=hold)
    holder.start()
    assert held.wait(30)
    try:
        with pytest.raises(RecordBusy) as busy:
            a_move(world, world.ward, MARCH)
    finally:
        done.set()
        holder.join()
    assert busy.value.retry_after > 0
    assert a_move(world, world.ward, MARCH).seq == head().size


@pytest.fixture
def world() -> World:
    return small_world()
