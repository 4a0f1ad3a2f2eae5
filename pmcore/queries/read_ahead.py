"""The next item is made while the last one is used: the database works while Python does."""

from collections.abc import Iterator
from concurrent.futures import ThreadPoolExecutor
from itertools import islice
from typing import TypeVar

from django.db import DEFAULT_DB_ALIAS, connections

_Item = TypeVar("_Item")


def read_ahead(items: Iterator[_Item]) -> Iterator[_Item]:
    """The same items. A thread makes each one after the first while the caller has the one before, over the caller's
    own connection, so that it reads what the caller would: the driver must let statements of two threads wait for each
    other, as that of PostgreSQL does. What the making raises is raised here. No more than one item is kept waiting."""
    shared = connections[DEFAULT_DB_ALIAS]

    def lend() -> None:
        connections[DEFAULT_DB_ALIAS] = shared

    shared.inc_thread_sharing()
    try:
        with ThreadPoolExecutor(1, "read-ahead", initializer=lend) as thread:
            coming = thread.submit(lambda: [*islice(items, 1)])
            while found := coming.result():
                coming = thread.submit(lambda: [*islice(items, 1)])
                yield found[0]
    finally:
        shared.dec_thread_sharing()
