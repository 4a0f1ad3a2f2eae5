"""How a person knows a device: its tag, serial number, maker and model."""

import datetime as dt
from collections.abc import Collection
from dataclasses import dataclass

from pmcore.models import DeviceIdentity, ModelDetails, TagHeld


@dataclass(frozen=True, slots=True)
class DeviceLabel:
    device: int
    tag: str | None
    serial: str
    maker: str
    model: str

    def __str__(self) -> str:
        named = f"{self.maker} {self.model}, serial {self.serial}"
        return f"{self.tag} ({named})" if self.tag else named


def labels_of(devices: Collection[int], *, on: dt.date, known: int) -> dict[int, DeviceLabel]:
    """Three statements."""
    identities = DeviceIdentity.objects.known(known).filter(device__among=devices)
    tags = dict(TagHeld.objects.known(known).on(on).filter(device__among=devices).values_list("device_id", "tag"))
    described = ModelDetails.objects.known(known).order_by("from_on", "id")
    models = {model: (maker, name) for model, maker, name in described.values_list("device_model_id", "maker", "name")}
    return {
        device: DeviceLabel(device, tags.get(device), serial, *models.get(model, ("?", "?")))
        for device, serial, model in identities.values_list("device_id", "serial", "device_model_id")
    }
