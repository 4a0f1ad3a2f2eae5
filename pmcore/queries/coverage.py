"""Which devices of the inventory have a plan on a day, which need none, and which have neither."""

import datetime as dt
from collections.abc import Collection, Sequence
from dataclasses import dataclass
from typing import Any

from django.db import connection

from pmcore.engines.compliance import Share
from pmcore.models import DeviceOrigin, KeptCoverage
from pmcore.queries.changed_devices import changed_since_kept
from pmcore.queries.coverage_spells import CoverageRow, PlanAims, coverage_rows
from pmcore.queries.standing_rows import day_number

_AT_ONCE = 500
_TABLE = KeptCoverage._meta.db_table


@dataclass(frozen=True, slots=True)
class InInventory:
    """A device of the inventory on a day; 0: nobody said of which class it is."""

    device: int
    area: int
    site: int
    device_class: int


@dataclass(frozen=True, slots=True)
class Places:
    """Which part of the inventory is asked for; None: all of it."""

    sites: Collection[int] | None = None
    areas: Collection[int] | None = None
    device_classes: Collection[int] | None = None

    def hold(self, row: CoverageRow) -> bool:
        return all(
            wanted is None or value in wanted
            for value, wanted in (
                (row.site, self.sites),
                (row.area, self.areas),
                (row.device_class, self.device_classes),
            )
        )

    def condition(self) -> str:
        """For a statement; ids are whole numbers, so they stand in it as they are."""
        named = (("site", self.sites), ("area", self.areas), ("device_class", self.device_classes))
        return "".join(f" AND {name} {_among(wanted)}" for name, wanted in named if wanted is not None)


@dataclass(frozen=True, slots=True)
class Inventory:
    """`covered`: devices with a plan or a signed "none needed" ÷ all; `planned`: how many are under a plan;
    `planned_among`: those of the devices named in the question that are."""

    covered: Share
    planned: int
    planned_among: frozenset[int]
    uncovered: tuple[InInventory, ...]


def inventory_on(day: dt.date, known: int, places: Places, among: Collection[int] = ()) -> Inventory:
    """The inventory on a day, as known at a size of the history.

    Kept stretches answer for every device that was not written about since they were kept; the others are computed
    here.
    """
    changed = changed_since_kept(known)
    if changed is None:
        return _counted(_on(_computed(_all(known), known), day, places), among)
    newer = KeptCoverage.objects.filter(size__gt=known).order_by().values_list("device", flat=True).distinct()
    devices = changed | set(newer)
    computed = _counted(_on(_computed(sorted(devices), known), day, places), among)
    return _added(_kept(day, places, among, devices), computed)


def _all(known: int) -> list[int]:
    return list(DeviceOrigin.objects.known(known).order_by("device").values_list("device_id", flat=True))


def _computed(devices: Sequence[int], known: int) -> list[CoverageRow]:
    if not devices:
        return []
    aims = PlanAims(known)
    chunks = (devices[start : start + _AT_ONCE] for start in range(0, len(devices), _AT_ONCE))
    return [row for chunk in chunks for row in coverage_rows(chunk, aims, known)]


def _on(rows: Sequence[CoverageRow], day: dt.date, places: Places) -> list[CoverageRow]:
    number = day_number(day)
    return [row for row in rows if row.from_on <= number < row.until_on and places.hold(row)]


def _counted(rows: Sequence[CoverageRow], among: Collection[int]) -> Inventory:
    planned = {row.device for row in rows if row.planned}
    bare = tuple(
        InInventory(row.device, row.area, row.site, row.device_class)
        for row in sorted(rows)
        if not row.planned and not row.excused
    )
    covered = Share(len(rows) - len(bare), len(rows))
    return Inventory(covered, len(planned), frozenset(planned & set(among)), bare)


def _kept(day: dt.date, places: Places, among: Collection[int], without: Collection[int]) -> Inventory:
    """Three statements, whatever the number of devices."""
    number = day_number(day)
    where = f"FROM {_TABLE} WHERE until_on > {number} AND from_on <= {number}{places.condition()}"
    if without:
        where += f" AND NOT device {_among(without)}"
    counts = _rows(f"SELECT planned, excused, count(*) {where} GROUP BY planned, excused")
    total = sum(count for _, _, count in counts)
    planned = sum(count for is_planned, _, count in counts if is_planned)
    bare = _rows(f"SELECT device, area, site, device_class {where} AND planned = 0 AND excused = 0 ORDER BY device")
    named = _rows(f"SELECT device {where} AND planned = 1 AND device {_among(among)}")
    return Inventory(
        Share(total - len(bare), total),
        planned,
        frozenset(device for (device,) in named),
        tuple(InInventory(*row) for row in bare),
    )


def _among(ids: Collection[int]) -> str:
    return f"IN ({', '.join(str(int(number)) for number in sorted(ids)) or 'NULL'})"


def _rows(statement: str) -> list[Any]:
    with connection.cursor() as cursor:
        cursor.execute(statement)
        found: list[Any] = cursor.fetchall()
    return found


def _added(one: Inventory, other: Inventory) -> Inventory:
    return Inventory(
        Share(one.covered.numerator + other.covered.numerator, one.covered.denominator + other.covered.denominator),
        one.planned + other.planned,
        one.planned_among | other.planned_among,
        tuple(sorted((*one.uncovered, *other.uncovered), key=lambda each: each.device)),
    )
