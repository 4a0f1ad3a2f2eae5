"""Where devices stand on a day and what they are, in the words of the department."""

import datetime as dt
from collections.abc import Collection
from dataclasses import dataclass
from typing import Any

from pmcore.models import ClassDetails, DeviceIdentity, ModelDetails, Placement
from pmcore.models.base import RecordedQuerySet
from pmcore.queries.group_names import area_names


@dataclass(frozen=True, slots=True)
class DevicePlace:
    """The names of its class, site and area; empty where nobody said."""

    device_class: str = ""
    site: str = ""
    area: str = ""

    def __str__(self) -> str:
        return ", ".join(part for part in (self.site, self.area) if part)


def places_of(devices: Collection[int], *, on: dt.date, known: int) -> dict[int, DevicePlace]:
    """Of each device; six statements. Names are the newest known."""
    identities = DeviceIdentity.objects.known(known).filter(device__among=devices)
    models = dict(identities.values_list("device_id", "device_model_id"))
    stood = Placement.objects.known(known).on(on).filter(device__among=devices)
    areas = dict(stood.values_list("device_id", "area_id"))
    class_of = _newest(ModelDetails.objects.known(known), "device_model_id", "device_class_id")
    classes = _newest(ClassDetails.objects.known(known), "device_class_id", "name")
    named = area_names(known)
    found = {}
    for device in devices:
        device_class = class_of.get(models.get(device, 0), 0)
        found[device] = DevicePlace(classes.get(device_class, ""), *named.get(areas.get(device, 0), ("", "")))
    return found


def _newest(facts: RecordedQuerySet[Any], key: str, value: str) -> dict[int, Any]:
    return dict(facts.order_by("from_on", "id").values_list(key, value))
