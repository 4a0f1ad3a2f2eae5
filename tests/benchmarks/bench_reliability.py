"""How fast failure rates over many devices are told. One command prints the table:

    python -m tests.benchmarks.bench_reliability --devices 100000            (embedded SQLite)
    DATABASE_URL=postgres://… python -m tests.benchmarks.bench_reliability    (a scratch database beside it)

Two peers answer less from the same rows in the same run: a plain SQL aggregate counts findings by subsystem and the
days since each device's first one, without holds, states, moves or revisions; pandas reads identities, origins,
placements, holds, releases and findings by the ORM, joins them, and counts findings by subsystem.
"""

import argparse
import datetime as dt
import random
import statistics
from collections.abc import Callable, Iterator
from typing import Any

from tests.benchmarks.bench_compliance import _timed, world
from tests.benchmarks.record import AT, Line, scratch_database

AS_OF = dt.date(2026, 10, 31)
FIRST = dt.date(2024, 11, 1)  # by then the history of every device is known
DAYS = (AS_OF - FIRST).days
FAILING, MOVING, STORED, REVISED = 0.05, 0.1, 0.02, 0.5  # of the devices
RUNS = 5


def happen(place: dict[str, Any], seed: int = 1) -> int:
    """Failures with their holds and releases, moves, storage and revisions of a share of the devices."""
    from pmcore.engines.records import SYSTEM
    from pmcore.engines.vocabulary import Subsystem
    from pmcore.models import (
        AreaDetails,
        DeviceIdentity,
        DeviceRevision,
        Finding,
        FindingDetails,
        Hold,
        HoldDetails,
        ModelRevision,
        Placement,
        Release,
        ReleasedHold,
        ReleaseStatement,
        RevisionDetails,
        ServiceState,
    )
    from pmcore.models.rows import Row
    from pmcore.services.append import Draft, append, append_in_batches

    draws, subsystems = random.Random(seed), list(Subsystem)
    areas = list(AreaDetails.objects.values_list("area", flat=True))
    models = dict(DeviceIdentity.objects.values_list("device", "device_model"))
    revisions: dict[int, list[int]] = {}
    for model in sorted(set(models.values())):
        for label in ("A", "B"):
            revision = Row(ModelRevision, device_model=model)
            said = Row(RevisionDetails, revision=revision, from_on=FIRST, label=label)
            receipt = append("revision_registered", revision, [revision, said], actor=SYSTEM, at=AT)
            revisions.setdefault(model, []).append(receipt.subject)

    def drafts() -> Iterator[Draft]:
        for device, model in models.items():
            day = FIRST + dt.timedelta(days=draws.randrange(DAYS - 60))
            if draws.random() < REVISED:
                said = Row(DeviceRevision, device=device, from_on=day, revision=draws.choice(revisions[model]))
                yield Draft("revision_set", device, [said])
            if draws.random() < MOVING:
                moved = Row(Placement, device=device, from_on=day, area=draws.choice(areas))
                yield Draft("device_placed", device, [moved])
            if draws.random() < STORED:
                state = Row(ServiceState, device=device, from_on=day, state="stored", sealed=True, in_hand=True)
                yield Draft("service_state_set", device, [state])
            if draws.random() < FAILING:
                finding, hold = Row(Finding, device=device), Row(Hold, device=device)
                details = Row(
                    FindingDetails, finding=finding, from_on=day, discovered_on=day, discovery="reported_in_use",
                    subsystem=draws.choice(subsystems), mode="It stopped.", cause="wear", failure="functional",
                    severity="stops_use",
                )  # fmt: skip
                held = Row(HoldDetails, hold=hold, from_on=day, reason="finding", finding=finding)
                holds.append((hold, device, day))
                yield Draft("finding_made", device, [finding, details, hold, held])

    holds: list[tuple[Row, int, dt.date]] = []
    for _ in append_in_batches(drafts(), actor=SYSTEM, at=AT):
        pass

    def releases() -> Iterator[Draft]:
        for hold, device, day in holds:
            release = Row(Release, device=device)
            on = day + dt.timedelta(days=draws.randint(1, 20))
            signed_at = dt.datetime.combine(on, dt.time(9), dt.UTC)
            statement = Row(
                ReleaseStatement, release=release, signed_at=signed_at, signed_on=on, signed_by=place["person"]
            )
            lifted = Row(ReleasedHold, statement=statement, hold=hold.id)
            yield Draft("release_signed", device, [release, statement, lifted])

    for _ in append_in_batches(releases(), actor=SYSTEM, at=AT):
        pass
    return len(holds)


def page() -> tuple[Any, int]:
    """Everything that the page shows, and how many statements it took."""
    from django.db import connection
    from django.test.utils import CaptureQueriesContext

    from pmcore.engines.records import SYSTEM
    from pmcore.engines.vocabulary import RateGrouping
    from pmcore.queries.head import head
    from pmcore.queries.reliability_filter import ReliabilityFilter
    from pmcore.queries.reliability_page import reliability_page

    known = head().size
    with CaptureQueriesContext(connection) as captured:
        found = reliability_page(
            ReliabilityFilter(), group_by=RateGrouping.SUBSYSTEM, pair=None, as_of=AS_OF, known=known, today=AS_OF,
            actor=SYSTEM,
        )  # fmt: skip
    return found, len(captured)


def by_sql() -> dict[str, int]:
    from django.db import connection

    days = "julianday(%s) - julianday(known_from_on)" if connection.vendor == "sqlite" else "%s - known_from_on"
    with connection.cursor() as cursor:
        cursor.execute(
            f"SELECT sum({days}) FROM pmcore_deviceorigin WHERE replaced_by IS NULL", [AS_OF.isoformat()]
            if connection.vendor == "sqlite" else [AS_OF],
        )  # fmt: skip
        cursor.fetchall()
        cursor.execute(
            "SELECT subsystem, count(*) FROM pmcore_findingdetails "
            "WHERE replaced_by IS NULL AND failure = 'functional' GROUP BY subsystem"
        )
        return dict(cursor.fetchall())


def by_pandas() -> dict[str, int]:
    import pandas

    from pmcore.models import DeviceIdentity, DeviceOrigin, FindingDetails, HoldDetails, Placement, ReleasedHold

    def frame(rows: Any, *names: str) -> Any:
        return pandas.DataFrame.from_records(list(rows.values_list(*names)), columns=list(names))

    devices = frame(DeviceIdentity.objects.current(), "device", "device_model")
    origins = frame(DeviceOrigin.objects.current(), "device", "known_from_on")
    places = frame(Placement.objects.current(), "device", "from_on", "area__site").sort_values("from_on")
    holds = frame(HoldDetails.objects.current(), "hold", "hold__device", "from_on")
    lifted = frame(ReleasedHold.objects.current(), "hold", "statement__signed_on")
    findings = frame(FindingDetails.objects.current().filter(failure="functional"), "finding__device", "subsystem")
    latest = places.groupby("device", as_index=False).last()
    whole = devices.merge(origins, on="device").merge(latest, on="device")
    away = holds.merge(lifted, on="hold", how="left")
    held = pandas.to_datetime(away["statement__signed_on"].fillna(AS_OF)) - pandas.to_datetime(away["from_on"])
    since = pandas.Timestamp(AS_OF) - pandas.to_datetime(whole["known_from_on"])
    assert since.dt.days.sum() > held.dt.days.sum()
    return {str(key): int(count) for key, count in findings.groupby("subsystem").size().items()}


def _median(deed: Callable[[], Any]) -> float:
    return statistics.median(_timed(deed)[0] for _ in range(RUNS))


def measure(devices: int) -> Iterator[Line]:
    failures = happen(world(devices))
    (found, statements), counted = page(), by_sql()
    assert {group.key: group.events for group in found.report.groups if group.events} == counted == by_pandas()
    seconds = {"page": 0.0, "sql": 0.0, "pandas": 0.0}
    deeds = {"page": page, "sql": by_sql, "pandas": by_pandas}
    for name, deed in deeds.items():
        seconds[name] = _median(deed)
    what = f"rates and standouts, {devices:,} devices, {failures:,} failures"
    yield Line(what, seconds["page"] * 1000, "ms", "pandas", seconds["page"] / seconds["pandas"])
    yield Line("the same", seconds["page"] * 1000, "ms", "plain SQL aggregate", seconds["page"] / seconds["sql"])
    yield Line("statements", statements, "")
    yield Line("comparisons made", found.screened.compared, "")


def main() -> None:
    parser = argparse.ArgumentParser(description=__doc__, formatter_class=argparse.RawDescriptionHelpFormatter)
    parser.add_argument("--devices", type=int, default=100_000)
    asked = parser.parse_args()
    with scratch_database():
        for line in measure(asked.devices):
            print(line, flush=True)


if __name__ == "__main__":
    main()
