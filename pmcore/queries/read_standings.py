"""The standings that a figure is counted from: kept ones, and those of devices that were written about since."""

import datetime as dt
from collections.abc import Collection, Sequence
from typing import Any

import numpy as np
from django.db import connection
from django.db.models import QuerySet

from pmcore.models import DueInspection, KeptStanding
from pmcore.queries.changed_devices import changed_since_kept
from pmcore.queries.standing_catalogue import Catalogue
from pmcore.queries.standing_rows import Standing, Standings, day_number
from pmcore.queries.standings import standings_of

_COLUMNS = ", ".join(f'"{name}"' for name in (*Standing._fields, "size"))
_DEVICE = Standing._fields.index("device")
_DUE = Standing._fields.index("due_inspection")
_TABLE = KeptStanding._meta.db_table


def standings_between(
    starts_on: dt.date, ends_on: dt.date, *, as_of: dt.date, catalogue: Catalogue, sites: frozenset[int] | None = None
) -> Standings:
    """Of every due inspection whose window closes in the period, and of those that may be overdue on `as_of`; `sites`:
    whoever asks leaves out all others, so that not all kept ones need be read.

    Kept standings answer for every device that nothing was written about between the size they were kept at and the
    size asked for; the others are computed here. So the answer never hangs on what is kept.
    """
    known = catalogue.known
    changed = changed_since_kept(known)
    if changed is None:
        return _within(list(standings_of(all_devices(known), catalogue)), starts_on, ends_on, as_of)
    kept = _kept(starts_on, ends_on, as_of, sites)
    # Asked after the rows were read: whatever a run in the background replaced by then shows here.
    newer = set(KeptStanding.objects.filter(size__gt=known).order_by().values_list("device", flat=True))
    devices = changed | newer
    rows = [row[:-1] for row in kept if row[_DEVICE] not in devices]
    return _within([*rows, *standings_of(devices, catalogue)], starts_on, ends_on, as_of)


def standings_for(dues: Collection[int], *, catalogue: Catalogue) -> Standings:
    """Of these due inspections, ids without one left out; kept or computed as `standings_between` does it."""
    rows = DueInspection.objects.known(catalogue.known).filter(pk__among=dues)
    device_of = dict(rows.values_list("pk", "device_id"))
    kept = KeptStanding.objects.filter(due_inspection__among=device_of)
    found = _kept_or_computed(kept, set(device_of.values()), catalogue)
    return Standings.of_rows([row for row in found if row[_DUE] in device_of])


def standings_on(devices: Collection[int], *, catalogue: Catalogue) -> Standings:
    """Of all due inspections of these devices; kept or computed as `standings_between` does it."""
    kept = KeptStanding.objects.filter(device__among=devices)
    return Standings.of_rows(_kept_or_computed(kept, set(devices), catalogue))


def _kept_or_computed(kept: QuerySet[KeptStanding], wanted: set[int], catalogue: Catalogue) -> list[Sequence[int]]:
    changed = changed_since_kept(catalogue.known)
    if changed is None:
        return list(standings_of(wanted, catalogue))
    rows = list(kept.order_by().values_list(*Standing._fields, "size"))
    computed = wanted & changed | {row[_DEVICE] for row in rows if row[-1] > catalogue.known}
    return [*(row[:-1] for row in rows if row[_DEVICE] not in computed), *standings_of(computed, catalogue)]


def all_devices(known: int) -> list[int]:
    """Every device that has a due inspection."""
    rows = DueInspection.objects.known(known).order_by()
    return list(rows.values_list("device_id", flat=True).distinct())


def _kept(starts_on: dt.date, ends_on: dt.date, as_of: dt.date, sites: frozenset[int] | None) -> Sequence[Any]:
    day, first, last = day_number(as_of), day_number(starts_on), day_number(ends_on)
    here = "" if sites is None else f" AND site IN ({', '.join(map(str, sorted(sites))) or 'NULL'})"
    # Without statistics SQLite would walk all windows that ever closed, not the index of those that may be overdue.
    closed = "+closes_on" if connection.vendor == "sqlite" else "closes_on"
    with connection.cursor() as cursor:
        cursor.execute(
            f"SELECT {_COLUMNS} FROM {_TABLE} WHERE closes_on BETWEEN %s AND %s{here} UNION ALL "
            f"SELECT {_COLUMNS} FROM {_TABLE} WHERE next_opens_on > %s AND {closed} < %s AND completed_on > %s"
            f" AND NOT {closed} BETWEEN %s AND %s{here}",
            [first, last, day, day, day, first, last],
        )
        rows: Sequence[Any] = cursor.fetchall()
    return rows


def _within(rows: Collection[Sequence[int]], starts_on: dt.date, ends_on: dt.date, as_of: dt.date) -> Standings:
    found = Standings.of_rows(list(rows))
    day = np.datetime64(as_of, "D")
    inside = (found.closes_on >= np.datetime64(starts_on, "D")) & (found.closes_on <= np.datetime64(ends_on, "D"))
    undone = (found.closes_on < day) & ~(found.completed_on <= day) & ~(found.next_opens_on <= day)
    return found.where(inside | undone)
