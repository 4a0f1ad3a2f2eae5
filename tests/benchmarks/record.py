"""How fast the record grows, is verified and is read. One command prints the table:

    python -m tests.benchmarks.record --rows 1000000            (embedded SQLite)
    DATABASE_URL=postgres://… python -m tests.benchmarks.record  (a scratch database is made beside it and dropped)

The peer of an append is a bare insert of the same rows, in transactions of the same size, into a table with the same
columns and indexes but no entry, no guard and no hash; both run in turns.
"""

import argparse
import datetime as dt
import os
import statistics
import sys
import tempfile
import time
from collections.abc import Callable, Iterator, Sequence
from contextlib import contextmanager
from dataclasses import dataclass
from functools import cache
from typing import Any
from unittest import mock

AT = dt.datetime(2026, 10, 31, 7, tzinfo=dt.UTC)
FIRST = dt.date(2026, 1, 1)
DUE_PER_DEVICE = 10
SLICES = 10


@dataclass
class Line:
    """One row of the printed table."""

    what: str
    value: float
    unit: str
    peer: str = ""
    ratio: float | None = None

    def __str__(self) -> str:
        beside = f"{self.ratio:6.2f} × {self.peer}" if self.ratio is not None else self.peer
        return f"{self.what:<58} {self.value:>12,.1f} {self.unit:<10} {beside}"


@contextmanager
def scratch_database() -> Iterator[None]:
    """A database of our own, guards up; on SQLite a file."""
    os.environ.setdefault("PMCORE_DATA", tempfile.mkdtemp(prefix="benchmark-"))
    os.environ.setdefault("DJANGO_SETTINGS_MODULE", "pmcore.settings")
    import django

    django.setup()
    from django.db import connection

    name = connection.settings_dict["NAME"]
    connection.creation.create_test_db(verbosity=0, autoclobber=True, serialize=False)
    try:
        yield
    finally:
        connection.creation.destroy_test_db(str(name), verbosity=0)


def _world(devices: int) -> tuple[list[int], int, int]:
    """So many devices, and a plan and a procedure to hang due inspections on."""
    from pmcore.engines.records import SYSTEM
    from pmcore.models import Device, InspectionPlan, Person, PersonDetails, PlanTerms, Procedure, ProcedureDetails
    from pmcore.models.rows import Row
    from pmcore.services.append import Draft, append, append_in_batches

    procedure, person, plan = Row(Procedure), Row(Person), Row(InspectionPlan)
    named = Row(ProcedureDetails, procedure=procedure, from_on=FIRST, name="Yearly inspection", withdrawn=False)
    append("procedure_registered", procedure, [procedure, named], actor=SYSTEM, at=AT)
    details = Row(PersonDetails, person=person, from_on=FIRST, name="A manager")
    append("person_registered", person, [person, details], actor=SYSTEM, at=AT)
    drafts = []
    for _ in range(devices):
        device = Row(Device)
        drafts.append(Draft("device_registered", device, [device]))
    ids = [receipt.subject for batch in append_in_batches(drafts, actor=SYSTEM, at=AT) for receipt in batch]
    terms = Row(
        PlanTerms, plan=plan, from_on=FIRST, name="Yearly", device=ids[0], procedure=procedure.id, every=12,
        unit="month", counts_from="anchored", window="days", window_before=30, window_after=30, basis="maker",
        ended=False, approved_by=person.id,
    )  # fmt: skip
    append("plan_made", plan, [plan, terms], actor=SYSTEM, at=AT)
    assert plan.id is not None and procedure.id is not None
    return ids, plan.id, procedure.id


@cache
def _due_days(day_of_month: int) -> list[tuple[dt.date, dt.date, dt.date]]:
    """Ten windows, a month apart, spread over the days of the month."""
    days = []
    for number in range(DUE_PER_DEVICE):
        due = FIRST + dt.timedelta(days=day_of_month + 31 * number)
        days.append((due, due - dt.timedelta(days=15), due + dt.timedelta(days=15)))
    return days


def _slices(items: Sequence[Any], count: int) -> list[Sequence[Any]]:
    size = -(-len(items) // count)
    return [items[at : at + size] for at in range(0, len(items), size)]


class Locks:
    """How long each transaction held the lock: from having it to the end of the commit."""

    def __init__(self) -> None:
        self.held: list[float] = []

    @contextmanager
    def timed(self) -> Iterator[None]:
        from pmcore.services import append as writer

        real = writer.writing

        @contextmanager
        def writing() -> Iterator[None]:
            with real():
                began = time.perf_counter()
                yield
            self.held.append(time.perf_counter() - began)

        with mock.patch.object(writer, "writing", writing):
            yield


def _append(devices: Sequence[tuple[int, int]], plan: int, procedure: int, rows_per_entry: int) -> None:
    from pmcore.engines.records import SYSTEM
    from pmcore.models import DueInspection
    from pmcore.models.rows import Row
    from pmcore.services.append import Draft, append_in_batches

    def drafts() -> Iterator[Draft]:
        for number, device in devices:
            rows = [
                Row(
                    DueInspection, device=device, plan=plan, procedure=procedure, due_on=due, opens_on=opens,
                    closes_on=closes,
                )
                for due, opens, closes in _due_days(number % 28)
            ]  # fmt: skip
            for at in range(0, len(rows), rows_per_entry):
                yield Draft("inspections_due", device, rows[at : at + rows_per_entry])

    for _ in append_in_batches(drafts(), actor=SYSTEM, at=AT):
        pass


_BARE = "bare_due_inspection"


def _make_bare() -> None:
    from django.db import connection

    with connection.cursor() as cursor:
        cursor.execute(f"DROP TABLE IF EXISTS {_BARE}")
        cursor.execute(
            f"CREATE TABLE {_BARE} (id bigint PRIMARY KEY, device_id bigint NOT NULL, plan_id bigint NOT NULL, "
            "procedure_id bigint NOT NULL, due_on date NOT NULL, opens_on date NOT NULL, closes_on date NOT NULL, "
            "counted_from_on date)"
        )
        cursor.execute(f"CREATE UNIQUE INDEX bare_once ON {_BARE} (device_id, plan_id, due_on)")
        cursor.execute(f"CREATE INDEX bare_closes ON {_BARE} (closes_on)")


def _bare_insert(devices: Sequence[tuple[int, int]], plan: int, procedure: int, first_id: int) -> None:
    from django.db import connection, transaction

    from pmcore.services.append import ROWS_AT_ONCE
    from pmcore.services.inserts import insert

    columns = ["id", "device_id", "plan_id", "procedure_id", "due_on", "opens_on", "closes_on"]
    rows = [
        (0, device, plan, procedure, due.isoformat(), opens.isoformat(), closes.isoformat())
        for number, device in devices
        for due, opens, closes in _due_days(number % 28)
    ]
    rows = [(first_id + at, *row[1:]) for at, row in enumerate(rows)]
    for at in range(0, len(rows), ROWS_AT_ONCE):
        with transaction.atomic():
            insert(connection, _BARE, columns, rows[at : at + ROWS_AT_ONCE])


def _seconds(work: Callable[[], Any]) -> float:
    began = time.perf_counter()
    work()
    return time.perf_counter() - began


def measure_append(rows: int, rows_per_entry: int) -> list[Line]:
    devices, plan, procedure = _world(rows // DUE_PER_DEVICE)
    _make_bare()
    locks, ours, bare = Locks(), [], []
    numbered = list(enumerate(devices))
    done = 0
    for chunk in _slices(numbered, SLICES):
        count = len(chunk) * DUE_PER_DEVICE
        with locks.timed():
            ours.append(count / _seconds(lambda c=chunk: _append(c, plan, procedure, rows_per_entry)))
        bare.append(count / _seconds(lambda c=chunk, d=done: _bare_insert(c, plan, procedure, d + 1)))
        done += count
    label = f"append, {rows_per_entry} due inspections an entry"
    held = sorted(locks.held)
    return [
        Line(
            label, statistics.median(ours), "rows/s", "bare insert", statistics.median(bare) / statistics.median(ours)
        ),
        Line("  the bare insert", statistics.median(bare), "rows/s"),
        Line("  lock held, median", 1000 * statistics.median(held), "ms"),
        Line("  lock held, 99th of 100", 1000 * held[int(0.99 * (len(held) - 1))], "ms"),
        Line("  lock held, longest", 1000 * held[-1], "ms", f"{len(held)} transactions"),
    ]


def measure_verification() -> list[Line]:
    from pmcore.queries.verification import verify

    began = time.perf_counter()
    report = verify()
    seconds = time.perf_counter() - began
    if not report.sound:
        raise SystemExit(f"The record is not sound: {report.faults[:3]}")
    return [
        Line("verify_history", report.size / seconds, "entries/s", f"{report.size:,} entries"),
        Line("  the same", report.rows / seconds, "rows/s", f"{report.rows:,} rows"),
    ]


def measure_known_filter() -> list[Line]:
    """A month's due inspections with and without `.known(size)`: as rows, and counted with their placement."""
    from pmcore.models import DueInspection
    from pmcore.queries.head import head

    size = head().size
    month = {"closes_on__gte": dt.date(2026, 9, 1), "closes_on__lte": dt.date(2026, 9, 30)}

    def read(rows: Any) -> int:
        return len(list(rows.filter(**month).values_list("id", "device_id", "due_on")))

    with_filter, without = [], []
    count = 0
    for _ in range(9):
        without.append(_seconds(lambda: read(DueInspection.objects.all())))
        with_filter.append(_seconds(lambda: read(DueInspection.objects.known(size))))
        count = read(DueInspection.objects.known(size))
    ratio = statistics.median(with_filter) / statistics.median(without)
    return [Line("a month's read with .known(size)", 1000 * statistics.median(with_filter), "ms",
                 f"the same without, {count:,} rows", ratio)]  # fmt: skip


def main(arguments: Sequence[str] | None = None) -> list[Line]:
    parser = argparse.ArgumentParser(description=__doc__, formatter_class=argparse.RawDescriptionHelpFormatter)
    parser.add_argument("--rows", type=int, default=1_000_000)
    rows = parser.parse_args(arguments).rows
    lines: list[Line] = []
    for rows_per_entry in (DUE_PER_DEVICE, 1):
        with scratch_database():
            from django.db import connection

            if not lines:
                print(f"{rows:,} due inspections, {connection.vendor}")
            for measured in (
                lambda n=rows_per_entry: measure_append(rows, n),
                measure_verification,
                measure_known_filter,
            ):
                for line in measured():
                    lines.append(line)
                    print(line, flush=True)
    return lines


if __name__ == "__main__":
    sys.exit(0 if main() else 1)
