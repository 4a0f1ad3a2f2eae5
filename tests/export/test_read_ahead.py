"""The next item is made while the last one is used, over one connection."""

import threading

import pytest
from django.db import connection

from pmcore.models import Site
from pmcore.queries.read_ahead import read_ahead
from tests.history import small_history

pytestmark = [
    pytest.mark.django_db,
    pytest.mark.skipif(connection.vendor != "postgresql", reason="only PostgreSQL's driver lets two threads wait"),
]


@pytest.mark.parametrize("count", [0, 1, 2, 7])
def test_every_item_comes_in_order(count):
    assert list(read_ahead(iter(range(count)))) == list(range(count))


def test_the_next_one_is_made_before_this_one_is_given_back():
    made = threading.Event()

    def items():
        yield 1
        made.set()
        yield 2

    reading = read_ahead(items())
    assert next(reading) == 1
    assert made.wait(30)
    assert list(reading) == [2]


def test_only_one_item_waits():
    made = []
    reading = read_ahead(made.append(each) or each for each in range(100))
    assert [next(reading), next(reading)] == [0, 1]
    reading.close()
    assert made == [0, 1, 2]


def test_it_reads_what_the_caller_wrote_and_has_not_committed():
    small_history()
    assert list(read_ahead(Site.objects.order_by("pk").iterator())) == list(Site.objects.order_by("pk"))


def test_an_error_in_the_making_is_raised_where_the_item_is_asked_for():
    def items():
        yield 1
        raise LookupError("there is no second")

    reading = read_ahead(items())
    assert next(reading) == 1
    with pytest.raises(LookupError, match="no second"):
        next(reading)


def test_the_connection_is_the_callers_alone_afterwards():
    reading = read_ahead(iter((1, 2, 3)))
    next(reading)
    assert connection.allow_thread_sharing
    reading.close()
    assert not connection.allow_thread_sharing
