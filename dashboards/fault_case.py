"""The device that somebody writes about, and what a deed on its page is made of."""

import datetime as dt
from collections.abc import Callable
from dataclasses import dataclass
from zoneinfo import ZoneInfo

from django.http import Http404

from dashboards.access import Asking
from dashboards.fields import Field, Form, choices_of
from pmcore.engines.gate import HoldToLift
from pmcore.queries.device_faults import DeviceFaults, device_faults
from pmcore.queries.devices import DeviceListed, one_device
from pmcore.queries.head import head
from pmcore.queries.place_choices import place_choices
from pmcore.queries.release_gate import holds_to_lift
from pmcore.services.requests import Receipt, Request


@dataclass(frozen=True)
class Case:
    """The device that somebody writes about, and on which clock. `target`: which report, finding, hold or release of
    it, where a deed is about one."""

    found: Asking
    device: DeviceListed
    faults: DeviceFaults
    known: int
    zone: str
    target: int = 0

    @property
    def here(self) -> dt.datetime:
        return self.found.at.astimezone(ZoneInfo(self.zone))

    @property
    def name(self) -> str:
        called = self.device.device_class.name if self.device.device_class else "The device"
        return f"{called} {self.device.tag or self.device.serial}"

    def to_lift(self) -> tuple[HoldToLift, ...]:
        return holds_to_lift(self.device.device, self.here.date(), self.known)

    def areas(self) -> tuple[tuple[str, str], ...]:
        if self.device.site is None:
            return ()
        places = place_choices(as_of=self.here.date(), known=self.known, actor=self.found.actor)
        return choices_of(places.areas.get(self.device.site.id, ()))

    def area(self) -> Field:
        own = () if self.device.area is None else (str(self.device.area.id),)
        return Field("area", "Where", "select", self.areas(), own)


@dataclass(frozen=True)
class Deed:
    """`may`: its name in the table of permissions; `send`: None where the form says what is wrong; `about`: the record
    that it changes, None where there is none such of the device."""

    may: str
    headline: Callable[[Case], str]
    second: Callable[[Case], str]
    button: str
    fields: Callable[[Case], list[Field]]
    send: Callable[[Form, Case, Request], Receipt | None]
    about: Callable[[Case], object | None] = lambda case: case.device


def case_of(device: int, found: Asking, target: int = 0) -> Case:
    known = head().size
    listed = one_device(device, as_of=found.today, known=known, today=found.today, actor=found.actor)
    if listed is None:
        raise Http404
    site = None if listed.site is None else listed.site.id
    zone = next((each.time_zone for each in found.sites if each.site == site), "UTC")
    today = found.at.astimezone(ZoneInfo(zone)).date()
    return Case(found, listed, device_faults(device, as_of=today, known=known), known, zone, target)
