"""How many questions the interface answers in a second, beside an empty view of Django's in the same run, by turns,
through the test client (no server, no network). It asks the database of PMCORE_DATA, in which it first keeps
the standings, as a worker does every minute; build the demonstration before:

    export PMCORE_DATA=/somewhere/of/its/own
    python manage.py demo --no-serve
    python -m tests.benchmarks.bench_api

`--devices N` makes a scratch database of N devices instead.
"""

import argparse
import datetime as dt
import os
import statistics
import time
from collections.abc import Callable, Iterator
from contextlib import contextmanager
from typing import Any
from unittest import mock

from tests.benchmarks.bench_compliance import AS_OF, inspect, world
from tests.benchmarks.record import Line, scratch_database

NOON = dt.datetime.combine(AS_OF, dt.time(12), dt.UTC)
QUESTIONS = {
    "a page of 100 devices": "devices/",
    "a page of 500 devices": "devices/?limit=500",
    "a month's compliance": "compliance/?period=2026-09&group_by=site",
}
_EMPTY = "an empty view"


def empty(request: Any) -> Any:
    from django.http import HttpResponse

    return HttpResponse(b"{}", content_type="application/json")


def measure(rounds: int) -> list[Line]:
    """Requests a second: the median of `rounds` rounds, each asking every question in turn."""
    times: dict[str, list[float]] = {name: [] for name in (_EMPTY, *QUESTIONS)}
    with _asking() as ask:
        for name in times:
            ask(name)
        for _ in range(rounds):
            for name, taken in times.items():
                began = time.perf_counter()
                ask(name)
                taken.append(time.perf_counter() - began)
    found = {name: 1 / statistics.median(taken) for name, taken in times.items()}
    return [
        Line(
            name, rate, "requests/s", "" if name == _EMPTY else _EMPTY, None if name == _EMPTY else rate / found[_EMPTY]
        )
        for name, rate in found.items()
    ]


@contextmanager
def _asking() -> Iterator[Callable[[str], None]]:
    """By an auditor of every site. The look-up of the token is left out: nobody has to make one."""
    from django.test import Client
    from django.urls import get_resolver, path

    from pmcore.engines.records import Actor
    from pmcore.engines.vocabulary import Role
    from pmcore.models import Site

    assert get_resolver().url_patterns  # the addresses are read
    auditor = Actor(None, Role.AUDITOR, frozenset(Site.objects.values_list("id", flat=True)))
    from api import urls

    urls.version_1.insert(0, path("empty/", empty))
    client = Client(headers={"Authorization": "Token none"})

    def ask(name: str) -> None:
        response = client.get(f"/api/v1/{QUESTIONS.get(name, 'empty/')}")
        assert response.status_code == 200, response.content

    with (
        mock.patch("api.authentication.actor_of_token", return_value=auditor),
        mock.patch("pmcore.clock.now", return_value=NOON),
        mock.patch("django.conf.settings.ALLOWED_HOSTS", ["testserver"]),
    ):
        try:
            yield ask
        finally:
            del urls.version_1[0]


def measure_new(devices: int, rounds: int) -> list[Line]:
    from pmcore.models import Site
    from pmcore.services.generate_due import generate_due
    from pmcore.services.keep_standings import keep_standings

    place = world(devices)
    for site in Site.objects.values_list("id", flat=True):
        generate_due(site=site, as_of=AS_OF, at=NOON)
    inspect(place)
    keep_standings()
    return measure(rounds)


def main() -> None:
    parser = argparse.ArgumentParser(description=__doc__, formatter_class=argparse.RawDescriptionHelpFormatter)
    parser.add_argument("--devices", type=int, help="in a scratch database; else whatever PMCORE_DATA holds")
    parser.add_argument("--rounds", type=int, default=30)
    asked = parser.parse_args()
    if asked.devices is not None:
        with scratch_database():
            lines = measure_new(asked.devices, asked.rounds)
    else:
        import django

        os.environ.setdefault("DJANGO_SETTINGS_MODULE", "pmcore.settings")
        django.setup()
        from pmcore.services.keep_standings import keep_standings

        keep_standings()
        lines = measure(asked.rounds)
    for line in lines:
        print(line, flush=True)


if __name__ == "__main__":
    main()
