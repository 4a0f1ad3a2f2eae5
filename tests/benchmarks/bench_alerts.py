"""How long it takes to see what people must be told. One command prints the table:

    python -m tests.benchmarks.bench_alerts --devices 100000

Four sites with a scheduler, a manager and three technicians each; one window of ten was missed. The first look tells
the whole backlog, at every step that was reached; after it, a day and a minute cost what they bring.
"""

import argparse
import datetime as dt
import time
from collections.abc import Callable
from typing import Any

from tests.benchmarks.bench_compliance import AS_OF, inspect, world
from tests.benchmarks.record import AT, Line, scratch_database

CHANGED = 200
TECHNICIANS = 3


def _timed(deed: Callable[[], Any]) -> tuple[float, Any]:
    began = time.perf_counter()
    answer = deed()
    return time.perf_counter() - began, answer


def _people(sites: list[int]) -> None:
    from pmcore.engines.records import SYSTEM
    from pmcore.engines.vocabulary import Role
    from pmcore.services.alert_rules import make_default_rules
    from pmcore.services.people import register_person

    on: dict[str, Any] = {"from_on": AT.date(), "actor": SYSTEM, "at": AT}
    for site in sites:
        for role in (Role.MANAGER, Role.SCHEDULER, *[Role.TECHNICIAN] * TECHNICIANS):
            register_person(name=f"{role} of {site}", role=role, sites=[site], **on)
    make_default_rules(**on)


def _sweep(at: dt.datetime) -> int:
    from pmcore.queries.sites import sites_on
    from pmcore.services.alerts import sweep_site

    return sum(sweep_site(site=site, at=at) for site in sites_on(at.date()))


def _write(place: dict[str, Any], count: int) -> None:
    """So many devices are seen in use, which changes no alert but has to be looked at."""
    from pmcore.engines.records import SYSTEM
    from pmcore.models import Device, UseSeen
    from pmcore.models.rows import Row
    from pmcore.services.append import Draft, append_in_batches

    devices = Device.objects.order_by("pk").values_list("pk", flat=True)[:count]
    drafts = [Draft("use_seen", device, [Row(UseSeen, device=device, from_on=AS_OF)]) for device in devices]
    for _ in append_in_batches(drafts, actor=SYSTEM, at=AT):
        pass


def measure(devices: int) -> list[Line]:
    from django.db import connection
    from django.test.utils import CaptureQueriesContext

    from pmcore.models import Alert, Delivery, Person
    from pmcore.queries.alerts import open_alerts, unacknowledged
    from pmcore.queries.head import head
    from pmcore.services.alerts import follow_alerts
    from pmcore.services.generate_due import generate_due
    from pmcore.services.keep_standings import keep_standings

    place = world(devices)
    for site in place["sites"]:
        generate_due(site=site, as_of=AS_OF, at=AT)
    inspect(place)
    _people(place["sites"])
    keep_standings()
    today = dt.datetime.combine(AS_OF, dt.time(1), dt.UTC)
    lines = []
    first, made = _timed(lambda: _sweep(today))
    lines.append(Line(f"first look, {made:,} alerts, {Delivery.objects.count():,} deliveries", first, "s"))
    with CaptureQueriesContext(connection) as statements:
        again, _ = _timed(lambda: _sweep(today))
    lines.append(Line(f"the minute after, {len(statements)} statements", again * 1000, "ms"))
    day, made = _timed(lambda: _sweep(today + dt.timedelta(days=1)))
    lines.append(Line(f"the next day, {made:,} alerts", day, "s"))
    _write(place, CHANGED)
    seen, read = _timed(lambda: follow_alerts(at=today + dt.timedelta(days=1)))
    lines.append(Line(f"follower over {read:,} entries about {CHANGED} devices", seen * 1000, "ms"))
    manager = Person.objects.order_by("pk")[1].pk
    count, number = _timed(lambda: unacknowledged(manager))
    lines.append(Line(f"the number on every page, {number:,}", count * 1000, "ms"))
    page, _ = _timed(lambda: open_alerts(manager, as_of=AS_OF, known=head().size))
    lines.append(Line("the open list behind it", page * 1000, "ms"))
    assert Alert.objects.count() > 0
    return lines


def main() -> None:
    parser = argparse.ArgumentParser(description=__doc__, formatter_class=argparse.RawDescriptionHelpFormatter)
    parser.add_argument("--devices", type=int, default=100_000)
    asked = parser.parse_args()
    with scratch_database():
        for line in measure(asked.devices):
            print(line, flush=True)


if __name__ == "__main__":
    main()
