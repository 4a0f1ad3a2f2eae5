"""Which devices of the inventory have a plan on a day, which need none, and which have neither."""

import datetime as dt
from dataclasses import dataclass
from typing import Any

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


@dataclass(frozen=True, slots=True)
class InInventory:
    """A device of the inventory on a day. `plans`: those in force that call for it; `excused`: signed "none needed"."""

    device: int
    site: int
    area: int
    device_class: int | None
    plans: frozenset[int]
    excused: bool

    @property
    def covered(self) -> bool:
        return bool(self.plans) or self.excused


def inventory_on(day: dt.date, known: int) -> list[InInventory]:
    """The devices that were in the inventory on the day, in order of their ids: seven statements."""
    targets = _targets(day, known)
    classes = dict(ModelDetails.objects.known(known).on(day).values_list("device_model_id", "device_class_id"))
    models = dict(DeviceIdentity.objects.known(known).values_list("device_id", "device_model_id"))
    excused = _devices(NoPlanNeeded.objects.known(known).on(day).filter(needed=False))
    left = _devices(ServiceState.objects.known(known).on(day).filter(state=ServiceStateKind.LEFT))
    begun = _devices(DeviceOrigin.objects.known(known).filter(known_from_on__lte=day))
    places = Placement.objects.known(known).on(day).order_by("device")
    found = []
    for device, area, site in places.values_list("device_id", "area_id", "area__site_id"):
        if device in left or device not in begun:
            continue
        model = models.get(device)
        device_class = classes.get(model or 0)
        plans = targets["device", device] | targets["model", model] | targets["class", device_class]
        found.append(InInventory(device, site, area, device_class, plans, device in excused))
    return found


def _devices(facts: Any) -> set[int]:
    return set(facts.values_list("device_id", flat=True))


class _Targets(dict[tuple[str, int | None], frozenset[int]]):
    def __missing__(self, key: tuple[str, int | None]) -> frozenset[int]:
        return frozenset()


def _targets(day: dt.date, known: int) -> _Targets:
    """What the plans in force aim at."""
    found = _Targets()
    terms = PlanTerms.objects.known(known).on(day).filter(ended=False)
    columns = ("plan_id", "device_id", "device_model_id", "device_class_id")
    for plan, device, model, device_class in terms.values_list(*columns):
        for key in (("device", device), ("model", model), ("class", device_class)):
            if key[1] is not None:
                found[key] = found[key] | {plan}
    return found
