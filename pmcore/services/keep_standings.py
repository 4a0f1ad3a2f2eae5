"""Kept standings are brought up to date, run by run."""

from collections.abc import Callable, Collection, Iterator

from django.db import connection, transaction
from django.db.models import F

from pmcore.models import Device, KeptCoverage, KeptStanding, StandingsMark
from pmcore.queries.changed_devices import changed_devices
from pmcore.queries.coverage_spells import CoverageRow, PlanAims, coverage_rows
from pmcore.queries.head import head
from pmcore.queries.standing_catalogue import Catalogue, catalogue
from pmcore.queries.standing_rows import Standing
from pmcore.queries.standings import DEVICES_AT_ONCE, standings_of
from pmcore.services.inserts import insert

Progress = Callable[[int, int], None]


class Overtaken(RuntimeError):
    """A newer run keeps the standings; this one stops."""


def keep_standings(progress: Progress | None = None) -> int:
    """Compute anew the standings of every device that was written about since the last run, and move the mark last.

    Gives back the size of the history up to which they are kept. Killed at any moment, it leaves rows of which each
    says what it was computed at, and the next run does all of it again. Raises Overtaken.
    """
    mark, run = _begun()
    size = head().size
    if mark == size:
        return size
    changed = changed_devices(mark, size)
    devices = sorted(Device.objects.known(size).values_list("pk", flat=True) if changed is None else changed)
    facts, aims = catalogue(size), PlanAims(size)
    for done, chunk in _chunks(devices):
        _replace(chunk, facts, aims, run)
        if progress is not None:
            progress(done, len(devices))
    with transaction.atomic():
        _check_newest(run)
        StandingsMark.objects.update(size=size)
    return size


def _begun() -> tuple[int, int]:
    """The mark, and the number of this run."""
    with transaction.atomic():
        StandingsMark.objects.get_or_create(pk=1)
        StandingsMark.objects.update(run=F("run") + 1)
        mark = StandingsMark.objects.get()
    return mark.size, mark.run


def _chunks(devices: list[int]) -> Iterator[tuple[int, list[int]]]:
    for start in range(0, len(devices), DEVICES_AT_ONCE):
        chunk = devices[start : start + DEVICES_AT_ONCE]
        yield start + len(chunk), chunk


def _replace(devices: Collection[int], facts: Catalogue, aims: PlanAims, run: int) -> None:
    standings = [[*row, facts.known] for row in standings_of(devices, facts)]
    spells = [[*row, facts.known] for row in coverage_rows(devices, aims, facts.known)]
    with transaction.atomic():
        _check_newest(run)
        for table, columns, rows in (
            (KeptStanding, Standing._fields, standings),
            (KeptCoverage, CoverageRow._fields, spells),
        ):
            table.objects.filter(device__in=devices).delete()
            insert(connection, table._meta.db_table, [*columns, "size"], rows)


def _check_newest(run: int) -> None:
    if StandingsMark.objects.select_for_update().get().run != run:
        raise Overtaken("A newer run keeps the standings.")
