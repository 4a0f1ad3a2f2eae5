"""How fast due inspections are generated, standings are kept, and a month's compliance is told. One command prints the
table:

    python -m tests.benchmarks.bench_compliance --devices 100000            (embedded SQLite)
    DATABASE_URL=postgres://… python -m tests.benchmarks.bench_compliance    (a scratch database beside it)

The peer of generation is a bare insert of as many rows into the same table without indexes or guards; the peer of the
month's figure is a plain grouped count of the kept rows in the database.
"""

import argparse
import datetime as dt
import time
from collections.abc import Callable, Iterator
from typing import Any

from tests.benchmarks.record import AT, Line, scratch_database

BEGINS = dt.date(2023, 11, 1)
AS_OF = dt.date(2026, 10, 31)
MONTH = (dt.date(2026, 9, 1), dt.date(2026, 9, 30))
SITES, MODELS = 4, 12


def _timed(deed: Callable[[], Any]) -> tuple[float, Any]:
    began = time.perf_counter()
    answer = deed()
    return time.perf_counter() - began, answer


def world(devices: int) -> dict[str, Any]:
    """Sites, models and yearly plans; devices in turn on each, their history known from a day of the first year."""
    from pmcore.engines.records import SYSTEM
    from pmcore.models import (
        Area,
        AreaDetails,
        ClassDetails,
        Device,
        DeviceClass,
        DeviceIdentity,
        DeviceModel,
        DeviceOrigin,
        InspectionPlan,
        ModelDetails,
        Person,
        PersonDetails,
        Placement,
        PlanTerms,
        Procedure,
        ProcedureDetails,
        ProcedureSheet,
        ProcedureVersion,
        Site,
        SiteDetails,
        Step,
    )  # fmt: skip
    from pmcore.models.rows import Row
    from pmcore.services.append import Draft, append, append_in_batches

    def thing(entry: str, model: Any, details: Any, own: dict[str, Any] | None = None, /, **values: Any) -> int:
        row = Row(model, **(own or {}))
        said = Row(details, **{details.about[0]: row}, from_on=BEGINS, **values)
        return append(entry, row, [row, said], actor=SYSTEM, at=AT).subject

    person = thing("person_registered", Person, PersonDetails, name="A manager")
    procedure = thing("procedure_registered", Procedure, ProcedureDetails, name="Yearly", withdrawn=False)
    version = Row(ProcedureVersion, procedure=procedure, number=1)
    sheet = Row(ProcedureSheet, version=version, title="Yearly", minutes=40, people=1)
    steps = [
        Row(Step, sheet=sheet, number=n, key=f"step-{n}", kind="look", prompt="Is it sound?", mandatory=True,
            not_applicable_allowed=False)
        for n in range(3)
    ]  # fmt: skip
    append("version_written", version, [version, sheet, *steps], actor=SYSTEM, at=AT)
    sites, areas, models = [], [], []
    for n in range(SITES):
        site = thing("site_opened", Site, SiteDetails, label=f"S{n}", name=f"Site {n}", time_zone="Europe/London")
        sites.append(site)
        areas.append(thing("area_opened", Area, AreaDetails, {"site": site}, name="Ward", kind="ward", closed=False))
    for n in range(MODELS):
        kind = thing("class_registered", DeviceClass, ClassDetails, name=f"Class {n}", life_support=n == 0)
        model = thing(
            "model_registered", DeviceModel, ModelDetails, maker="Orvane", name=f"Model {n}", device_class=kind,
            mains=True, battery=False, manual=False,
        )  # fmt: skip
        models.append(model)
        thing(
            "plan_made", InspectionPlan, PlanTerms, name=f"Plan {n}", device_model=model, procedure=procedure,
            every=12 if n % 3 else 6, unit="month", counts_from="anchored", window="days", window_before=30,
            window_after=30, basis="maker", ended=False, approved_by=person,
        )  # fmt: skip

    def drafts() -> Iterator[Draft]:
        for n in range(devices):
            device = Row(Device)
            known_from = BEGINS + dt.timedelta(days=n * 97 % 365)  # spread over the year, however few they are
            rows = [
                device,
                Row(DeviceIdentity, device=device, device_model=models[n % MODELS], serial=f"N-{n}"),
                Row(DeviceOrigin, device=device, known_from_on=known_from, found_in_use=False),
                Row(Placement, device=device, area=areas[n % SITES], from_on=known_from),
            ]
            yield Draft("device_registered", device, rows)

    for _ in append_in_batches(drafts(), actor=SYSTEM, at=AT):
        pass
    return {"sites": sites, "procedure": procedure, "version": version.id, "person": person}


def inspect(place: dict[str, Any]) -> int:
    """Nine of ten windows that have closed were met by a complete inspection on the due date."""
    from pmcore.engines.records import SYSTEM
    from pmcore.models import DueInspection, Inspection, InspectionSession, Placement, Reading
    from pmcore.models.rows import Row
    from pmcore.services.append import Draft, append_in_batches

    sites = dict(Placement.objects.values_list("device_id", "area__site_id"))
    dues = DueInspection.objects.filter(closes_on__lt=AS_OF).order_by("device", "due_on")
    rows = [row for n, row in enumerate(dues.values_list("device_id", "due_on")) if n % 10]

    def drafts() -> Iterator[Draft]:
        for device, day in rows:
            at = dt.datetime.combine(day, dt.time(9), dt.UTC)
            inspection = Row(Inspection, device=device)
            session = Row(
                InspectionSession, inspection=inspection, kind="scheduled", version=place["version"],
                person=place["person"], site=sites[device], started_at=at, ended_at=at, performed_at=at,
                performed_on=day,
            )  # fmt: skip
            readings = [Row(Reading, session=session, step=f"step-{n}", outcome="passed") for n in range(3)]
            yield Draft("inspection_recorded", device, [inspection, session, *readings])

    for _ in append_in_batches(drafts(), actor=SYSTEM, at=AT):
        pass
    return len(rows)


def _bare_insert(count: int) -> float:
    """As many rows into a table of the same columns that has no index, no entry and no guard."""
    from django.db import connection, transaction

    from pmcore.models import DueInspection
    from pmcore.services.inserts import insert

    columns = [field.column for field in DueInspection._meta.concrete_fields]
    rows = list(DueInspection.objects.order_by("id").values_list(*columns)[:count])
    if connection.vendor == "sqlite":
        rows = [[str(v) if isinstance(v, dt.date) else v for v in row] for row in rows]
    with connection.cursor() as cursor:
        cursor.execute(f"CREATE TABLE bare AS SELECT * FROM {DueInspection._meta.db_table} WHERE 1 = 0")

    def run() -> None:
        for start in range(0, len(rows), 2_000):
            with transaction.atomic():
                insert(connection, "bare", columns, rows[start : start + 2_000])

    seconds, _ = _timed(run)
    return seconds


def _month(known: int) -> tuple[float, float, Any, int]:
    from django.db import connection
    from django.test.utils import CaptureQueriesContext

    from pmcore.engines.records import SYSTEM
    from pmcore.engines.vocabulary import Grouping
    from pmcore.queries.compliance import ComplianceFilter, compliance

    def ask() -> Any:
        return compliance(
            ComplianceFilter(*MONTH), as_of=AS_OF, known=known, today=AS_OF, actor=SYSTEM, group_by=Grouping.SITE
        )

    with CaptureQueriesContext(
        connection,
    ) as statements:
        report = ask()
    times = [_timed(ask)[0] for _ in range(5)]
    return min(times), sorted(times)[2], report, len(statements)


def _plain_count() -> float:
    from django.db import connection

    from pmcore.queries.standing_rows import day_number

    def count() -> None:
        with connection.cursor() as cursor:
            cursor.execute(
                "SELECT site, count(*), sum(CASE WHEN completed_on <= closes_on THEN 1 ELSE 0 END) "
                "FROM pmcore_keptstanding WHERE closes_on BETWEEN %s AND %s GROUP BY site",
                [day_number(MONTH[0]), day_number(MONTH[1])],
            )
            cursor.fetchall()

    return min(_timed(count)[0] for _ in range(5))


def measure(devices: int) -> list[Line]:
    from pmcore.queries.head import head
    from pmcore.services.generate_due import generate_due
    from pmcore.services.keep_standings import keep_standings

    place = world(devices)
    seconds, runs = _timed(lambda: [generate_due(site=site, as_of=AS_OF, at=AT) for site in place["sites"]])
    added = sum(run.added for run in runs)
    bare = _bare_insert(added)
    lines = [Line(f"generation for {devices:,} devices", added / seconds, "rows/s", "bare insert", seconds / bare)]
    again, _ = _timed(lambda: [generate_due(site=site, as_of=AS_OF, at=AT) for site in place["sites"]])
    lines.append(Line("the same once more, nothing to add", again, "s"))
    done = inspect(place)
    kept, size = _timed(keep_standings)
    lines.append(Line(f"standings of {added:,} due, {done:,} inspections", added / kept, "rows/s"))
    best, median, report, statements = _month(head().size)
    plain = _plain_count()
    lines.append(Line(f"a month's compliance, {report.tally.due:,} due: median", median * 1000, "ms"))
    lines.append(Line("the same, best of five", best * 1000, "ms", "plain grouped count", best / plain))
    lines.append(Line("statements", statements, ""))
    assert size == head().size
    return lines


def measure_many(due: int) -> list[Line]:
    """A figure over so many kept standings, made here and not by generation, spread evenly over three years."""
    from django.db import connection, transaction

    from pmcore.models import KeptStanding, StandingsMark
    from pmcore.queries.head import head
    from pmcore.queries.standing_rows import NEVER, Standing, day_number
    from pmcore.services.inserts import insert

    place = world(1_000)
    columns = [*Standing._fields, "size"]
    size, first, days = head().size, day_number(BEGINS), (AS_OF - BEGINS).days + 30
    nothing = [NEVER] * 7

    def row(n: int) -> list[int]:
        due_on = first + n % days
        done_on = NEVER if n % 10 == 0 or due_on > day_number(AS_OF) else due_on
        site = place["sites"][n % SITES]
        groups = [n + 1, n % 1_000_000, n % MODELS, site, site, n % MODELS + 1, n % 3, n % 4, 1, n + 1]
        dates = [due_on - 30, due_on, due_on + 30, due_on + 335, done_on, *nothing]
        return [*dates, done_on, due_on - 365, due_on, NEVER, *groups, size]

    def fill() -> None:
        for start in range(0, due, 50_000):
            with transaction.atomic():
                insert(connection, KeptStanding._meta.db_table, columns, [row(n) for n in range(start, start + 50_000)])

    seconds, _ = _timed(fill)
    StandingsMark.objects.update_or_create(pk=1, defaults={"size": size})
    with connection.cursor() as cursor:
        cursor.execute("ANALYZE")
    best, median, report, statements = _month(size)
    plain = _plain_count()
    return [
        Line(f"filled with {due:,} kept standings", due / seconds, "rows/s"),
        Line(f"a month's compliance, {report.tally.due:,} due: median", median * 1000, "ms"),
        Line("the same, best of five", best * 1000, "ms", "plain grouped count", best / plain),
        Line("statements", statements, ""),
    ]


def main() -> None:
    parser = argparse.ArgumentParser(description=__doc__, formatter_class=argparse.RawDescriptionHelpFormatter)
    parser.add_argument("--devices", type=int, default=100_000)
    parser.add_argument("--kept", type=int, help="instead: a figure over so many kept standings")
    asked = parser.parse_args()
    with scratch_database():
        for line in measure(asked.devices) if asked.kept is None else measure_many(asked.kept):
            print(line, flush=True)


if __name__ == "__main__":
    main()
