"""Devices: the inventory, and one of it."""

from api.documented import WHEN, WORDS, YES_OR_NO, Parameter, in_the_path, one_of, several
from api.serializers import serializer_of
from api.views import Found, ListView, OneView, When
from pmcore.engines.vocabulary import ServiceStateKind
from pmcore.queries.devices import DeviceFilter, DeviceListed, devices_page, one_device
from pmcore.queries.devices_asked import devices_filter
from pmcore.queries.parameters import Parameters


class Devices(ListView):
    resource = "devices"
    says = {"GET": "Lists the devices that stand at your sites on a day, in order of ids."}
    serializer = serializer_of(DeviceListed)
    filters = (
        Parameter("words", "Each word stands somewhere in tag, serial number, maker, model or device class.", WORDS),
        several("site", "Only at these sites, by id."),
        several("area", "Only in these areas, by id."),
        several("device_class", "Only of these device classes, by id."),
        several("device_model", "Only of these device models, by id."),
        several("state", "Only those in one of these states; else all but what left.", one_of(ServiceStateKind)),
        Parameter("held", "yes: only those that a hold keeps out of use; no: only the others.", YES_OR_NO),
    )

    def read(self, asked: Parameters) -> DeviceFilter:
        return devices_filter(asked)

    def page(self, chosen: DeviceFilter, when: When, after: int | None, limit: int) -> Found:
        found = devices_page(
            chosen, as_of=when.as_of, known=when.known, today=None, actor=self.actor, after=after, limit=limit
        )
        return found.devices, found.after


class Device(OneView):
    resource = "device"
    says = {"GET": "Tells of one device at your sites what it is, where it stands and whether it is in service."}
    serializer = serializer_of(DeviceListed)
    parameters = (in_the_path("device", "The device's id."), *WHEN)

    def find(self, when: When, **key: int) -> DeviceListed | None:
        return one_device(key["device"], as_of=when.as_of, known=when.known, today=None, actor=self.actor)
