"""Where devices stand on a day and what they are, in the words of the department."""

import datetime as dt
from collections.abc import Collection
from dataclasses import dataclass
from typing import Any

from pmcore.models import AreaDetails, ClassDetails, DeviceIdentity, ModelDetails, Placement, SiteDetails
from pmcore.models.base import RecordedQuerySet


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
    areas = {device: (area, site) for device, area, site in stood.values_list("device_id", "area_id", "area__site_id")}
    class_of = _newest(ModelDetails.objects.known(known), "device_model_id", "device_class_id")
    classes = _newest(ClassDetails.objects.known(known), "device_class_id", "name")
    area_names = _newest(AreaDetails.objects.known(known), "area_id", "name")
    site_names = _newest(SiteDetails.objects.known(known), "site_id", "name")
    found = {}
    for device in devices:
        area, site = areas.get(device, (0, 0))
        device_class = class_of.get(models.get(device, 0), 0)
        found[device] = DevicePlace(classes.get(device_class, ""), site_names.get(site, ""), area_names.get(area, ""))
    return found


def _newest(facts: RecordedQuerySet[Any], key: str, value: str) -> dict[int, Any]:
    return dict(facts.order_by("from_on", "id").values_list(key, value))
