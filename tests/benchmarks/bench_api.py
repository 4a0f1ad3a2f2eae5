"""How many requests a second the interface answers. One command prints the table:

    python -m tests.benchmarks.bench_api --devices 10000            (embedded SQLite)
    DATABASE_URL=postgres://… python -m tests.benchmarks.bench_api   (a scratch database beside it)

The peer is a view of the same framework that reads who asks and answers nothing; it is asked in turns with the others,
in one process and through all of the middleware, without a network.
"""

import argparse
import statistics
import time
from collections.abc import Iterator
from contextlib import contextmanager
from typing import Any

from tests.benchmarks.bench_compliance import AS_OF, inspect, world
from tests.benchmarks.record import AT, Line, scratch_database

COMPLIANCE = "/api/v1/compliance/?period=2026-09"
EMPTY = "/api/v1/empty/"
ASKED = {
    "compliance of a month": COMPLIANCE,
    "the same by site": f"{COMPLIANCE}&group_by=site",
    "100 devices": "/api/v1/devices/?limit=100",
    "100 devices with a word": "/api/v1/devices/?limit=100&words=orvane",
    "one device by its serial number": "/api/v1/devices/?words=N-7&limit=1",
}


@contextmanager
def _empty_view() -> Iterator[None]:
    """The empty view among the addresses of the interface, for as long as it is measured."""
    from django.urls import clear_url_caches, path
    from rest_framework.response import Response

    from api.views import ApiView
    from pmcore.urls import urlpatterns

    class Empty(ApiView):
        resource = "sites"

        def get(self, request: Any) -> Any:
            return Response({})

    urlpatterns.insert(0, path(EMPTY.removeprefix("/"), Empty.as_view()))
    clear_url_caches()
    try:
        yield
    finally:
        del urlpatterns[0]
        clear_url_caches()


def _token(place: dict[str, Any]) -> str:
    """Of an auditor at all sites."""
    from pmcore.engines.records import SYSTEM
    from pmcore.engines.vocabulary import Role
    from pmcore.models import Account
    from pmcore.services.accounts import create_token
    from pmcore.services.people import register_person

    person = register_person(
        name="An auditor", role=Role.AUDITOR, sites=place["sites"], from_on=AS_OF, actor=SYSTEM, at=AT
    ).subject
    account = Account(username="measured", person_id=person)
    account.set_unusable_password()
    account.save()
    return create_token(username="measured", label="measured", at=AT)


def measure(devices: int, rounds: int = 20) -> list[Line]:
    from unittest import mock

    from django.test import Client

    from pmcore.services.generate_due import generate_due
    from pmcore.services.keep_standings import keep_standings

    place = world(devices)
    for site in place["sites"]:
        generate_due(site=site, as_of=AS_OF, at=AT)
    inspect(place)
    client = Client(SERVER_NAME="localhost", headers={"Authorization": f"Token {_token(place)}"})
    keep_standings()
    addresses = {"an empty view": EMPTY, **ASKED}
    spent: dict[str, list[float]] = {name: [] for name in addresses}
    with _empty_view(), mock.patch("pmcore.clock.now", lambda: AT):
        for turn in range(rounds + 1):
            for name, address in addresses.items():
                began = time.perf_counter()
                response = client.get(address)
                seconds = time.perf_counter() - began
                assert response.status_code == 200, response.content
                if turn:  # the first one warms up
                    spent[name].append(seconds)
    return _lines(spent, devices)


def _lines(spent: dict[str, list[float]], devices: int) -> list[Line]:
    medians = {name: statistics.median(times) for name, times in spent.items()}
    empty = medians.pop("an empty view")
    lines = [Line(f"an empty view, {devices:,} devices in the record", 1 / empty, "requests/s")]
    for name, seconds in medians.items():
        lines.append(Line(name, 1 / seconds, "requests/s", "time of an empty view", seconds / empty))
    return lines


def main() -> None:
    parser = argparse.ArgumentParser(description=__doc__, formatter_class=argparse.RawDescriptionHelpFormatter)
    parser.add_argument("--devices", type=int, default=10_000)
    parser.add_argument("--rounds", type=int, default=20)
    asked = parser.parse_args()
    with scratch_database():
        for line in measure(asked.devices, asked.rounds):
            print(line, flush=True)


if __name__ == "__main__":
    main()
