"""When a device was in the inventory, where, and whether a plan called for it: its history as stretches of days."""

from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from datetime import date
from itertools import pairwise
from typing import Any

from pmcore.engines.spells import Spell
from pmcore.engines.timeline import Timeline


@dataclass(frozen=True, slots=True)
class Aim:
    """What a plan calls for from a day on: one device, the devices of a model, or of a class. None: nothing more."""

    device: int | None = None
    device_model: int | None = None
    device_class: int | None = None

    def meets(self, device: int, device_model: int | None, device_class: int | None) -> bool:
        if self.device is not None:
            return self.device == device
        if self.device_model is not None:
            return self.device_model == device_model
        return self.device_class is not None and self.device_class == device_class


@dataclass(frozen=True, slots=True)
class InventoryDays:
    """What is known of a device: `places` holds (area, site); `excused`: signed that no plan is needed."""

    device: int
    device_model: int | None
    begins_on: date
    places: Timeline[tuple[int, int]]
    absences: Sequence[Spell]
    classes: Timeline[int]
    excused: Timeline[bool]


@dataclass(frozen=True, slots=True)
class CoverageSpell:
    """From `from_on` up to `until_on`, which is left out (None: it lasts), the device was in the inventory so."""

    from_on: date
    until_on: date | None
    area: int
    site: int
    device_class: int | None
    planned: bool
    excused: bool


def coverage_spells(days: InventoryDays, plans: Iterable[Timeline[Aim | None]]) -> list[CoverageSpell]:
    """The stretches in order; between them the device was not in the inventory, or nobody said where it was."""
    aims = list(plans)
    breaks = sorted(day for day in _breaks(days, aims) if day >= days.begins_on)
    spells: list[CoverageSpell] = []
    for from_on, until_on in pairwise([*breaks, None]):
        assert from_on is not None
        spell = _on(days, aims, from_on, until_on)
        if spell is not None and spells and _continues(spells[-1], spell):
            spells[-1] = CoverageSpell(spells[-1].from_on, until_on, *_said(spell))
        elif spell is not None:
            spells.append(spell)
    return spells


def _breaks(days: InventoryDays, aims: Sequence[Timeline[Aim | None]]) -> set[date]:
    found = {days.begins_on}
    timelines: list[Timeline[Any]] = [days.places, days.classes, days.excused, *aims]
    for timeline in timelines:
        found.update(day for day, _ in timeline)
    for spell in days.absences:
        found.add(spell.from_on)
        if spell.until_on is not None:
            found.add(spell.until_on)
    return found


def _on(
    days: InventoryDays, aims: Sequence[Timeline[Aim | None]], day: date, until_on: date | None
) -> CoverageSpell | None:
    place = days.places.on(day)
    gone = any(each.from_on <= day and (each.until_on is None or day < each.until_on) for each in days.absences)
    if place is None or gone:
        return None
    device_class = days.classes.from_the_first_on(day)
    planned = any(
        aim is not None and aim.meets(days.device, days.device_model, device_class)
        for aim in (timeline.on(day) for timeline in aims)
    )
    return CoverageSpell(day, until_on, *place, device_class, planned, bool(days.excused.on(day)))


def _continues(before: CoverageSpell, after: CoverageSpell) -> bool:
    return before.until_on == after.from_on and _said(before) == _said(after)


def _said(spell: CoverageSpell) -> tuple[int, int, int | None, bool, bool]:
    return spell.area, spell.site, spell.device_class, spell.planned, spell.excused
