"""The inventory's history, device by device, computed from the facts."""

import datetime as dt
from collections import defaultdict
from collections.abc import Collection, Iterator
from typing import NamedTuple

from pmcore.engines.coverage import Aim, CoverageSpell, InventoryDays, coverage_spells
from pmcore.engines.spells import StateChange, departures
from pmcore.engines.timeline import Timeline, timelines
from pmcore.engines.vocabulary import ServiceStateKind
from pmcore.models import (
    DeviceIdentity,
    DeviceOrigin,
    ModelDetails,
    NoPlanNeeded,
    Placement,
    PlanTerms,
    ServiceState,
)
from pmcore.queries.standing_rows import NOTHING, day_number


class CoverageRow(NamedTuple):
    """A spell as whole numbers, in the form of `standing_rows`."""

    device: int
    from_on: int
    until_on: int
    area: int
    site: int
    device_class: int
    planned: int
    excused: int


class PlanAims:
    """What the plans aim at, and the classes of the models, as known at a size of the history: two statements."""

    def __init__(self, known: int) -> None:
        described = ModelDetails.objects.known(known).order_by("from_on", "id")
        self.classes: dict[int, Timeline[int]] = timelines(
            described.values_list("device_model_id", "from_on", "device_class_id")
        )
        said: dict[int, list[tuple[dt.date, Aim | None]]] = defaultdict(list)
        columns = ("plan_id", "from_on", "ended", "device_id", "device_model_id", "device_class_id")
        terms = PlanTerms.objects.known(known).order_by("from_on", "id")
        for plan, from_on, ended, *aim in terms.values_list(*columns):
            said[plan].append((from_on, None if ended else Aim(*aim)))
        self._of: dict[tuple[str, int], list[Timeline[Aim | None]]] = defaultdict(list)
        for changes in said.values():
            timeline = Timeline(changes)
            for key in {key for _, aim in changes if aim is not None for key in _keys(aim)}:
                self._of[key].append(timeline)

    def for_device(self, device: int, model: int, classes: Timeline[int]) -> list[Timeline[Aim | None]]:
        keys = {("device", device), ("model", model), *(("class", value) for _, value in classes)}
        return [timeline for key in keys for timeline in self._of.get(key, ())]


def _keys(aim: Aim) -> Iterator[tuple[str, int]]:
    for name, value in (("device", aim.device), ("model", aim.device_model), ("class", aim.device_class)):
        if value is not None:
            yield name, value


def coverage_rows(devices: Collection[int], aims: PlanAims, known: int) -> Iterator[CoverageRow]:
    """The spells of the devices (at most a thousand at a time): five statements."""
    of_device = {"device__in": devices}
    stood = Placement.objects.known(known).filter(**of_device).order_by("from_on", "id")
    columns = ("device_id", "from_on", "area_id", "area__site_id")
    places = timelines((device, from_on, (area, site)) for device, from_on, area, site in stood.values_list(*columns))
    words = NoPlanNeeded.objects.known(known).filter(**of_device).order_by("from_on", "id")
    excused = timelines(
        (device, from_on, not needed) for device, from_on, needed in words.values_list("device_id", "from_on", "needed")
    )
    states = _states(devices, known)
    models = dict(DeviceIdentity.objects.known(known).filter(**of_device).values_list("device_id", "device_model_id"))
    origins = DeviceOrigin.objects.known(known).filter(**of_device)
    for device, begins_on in origins.values_list("device_id", "known_from_on"):
        model = models.get(device, NOTHING)
        classes = aims.classes.get(model) or Timeline()
        days = InventoryDays(
            device,
            model or None,
            begins_on,
            places.get(device) or Timeline(),
            departures(states.get(device, ())),
            classes,
            excused.get(device) or Timeline(),
        )
        for spell in coverage_spells(days, aims.for_device(device, model, classes)):
            yield _row(device, spell)


def _states(devices: Collection[int], known: int) -> dict[int, list[StateChange]]:
    """When they were recorded plays no part here."""
    rows = ServiceState.objects.known(known).filter(device__among=devices).order_by("from_on", "id")
    found: dict[int, list[StateChange]] = defaultdict(list)
    for device, from_on, state in rows.values_list("device_id", "from_on", "state"):
        found[device].append(StateChange(from_on, ServiceStateKind(state), from_on))
    return found


def _row(device: int, spell: CoverageSpell) -> CoverageRow:
    return CoverageRow(
        device,
        day_number(spell.from_on),
        day_number(spell.until_on),
        spell.area,
        spell.site,
        spell.device_class or NOTHING,
        int(spell.planned),
        int(spell.excused),
    )
