"""Transactional tests end with a flush, which the guards of the record refuse: they come down for it, and the signal
at the end of the flush puts them up again."""

from collections.abc import Iterator

import pytest
from django.db import connection
from django.test.utils import override_settings

from pmcore.models import guards

_LONGEST = "tests/journeys/test_whole_circle.py"


@pytest.hookimpl(trylast=True)
def pytest_collection_modifyitems(items: list[pytest.Item]) -> None:
    """What takes minutes by itself begins first, so that no worker is left alone with it at the end."""
    items.sort(key=lambda item: not item.nodeid.startswith(_LONGEST))


def _ends_with_a_flush(request: pytest.FixtureRequest) -> bool:
    marker = request.node.get_closest_marker("django_db")
    marked = marker is not None and bool(marker.kwargs.get("transaction", bool(marker.args and marker.args[0])))
    return marked or bool({"transactional_db", "live_server"} & set(request.fixturenames))


@pytest.fixture(scope="session", autouse=True)
def passwords_cost_nothing() -> Iterator[None]:
    """What a guesser of passwords must pay would be half of many a test. Sites that are served pay it."""
    with override_settings(PASSWORD_HASHERS=["django.contrib.auth.hashers.MD5PasswordHasher"]):
        yield


@pytest.fixture(autouse=True)
def guards_down_for_the_flush(request: pytest.FixtureRequest) -> Iterator[None]:
    if not _ends_with_a_flush(request):
        yield
        return
    request.getfixturevalue("transactional_db")  # so that this fixture ends before the flush
    yield
    guards.take_down(connection)
