"""What the record holds that an inventory may name: read once, looked up by plain words."""

import datetime as dt
from dataclasses import dataclass, field

from pmcore.engines.records import Actor
from pmcore.models import (
    AreaDetails,
    CarriedOver,
    ClassDetails,
    DeviceIdentity,
    DeviceOrigin,
    DeviceRevision,
    ModelDetails,
    Ownership,
    Placement,
    ProcedureDetails,
    RevisionDetails,
    SiteDetails,
    TagHeld,
)
from pmcore.queries.head import head


@dataclass(frozen=True, slots=True)
class Place:
    site: int
    area: int


@dataclass(frozen=True, slots=True)
class ModelHeld:
    model: int
    device_class: int


@dataclass(slots=True)
class DeviceHeld:
    """What the record says of a device; None: nothing."""

    area: int | None = None
    revision: int | None = None
    ownership: str | None = None
    known_from_on: dt.date | None = None
    found_in_use: bool | None = None
    last_done: dict[int, dt.date] = field(default_factory=dict)


@dataclass
class InventoryHeld:
    """Keys are in small letters. `allowed`: the sites of whoever imports, None: all; `devices` by model and serial
    number, `tags` to devices, `said` of each."""

    allowed: frozenset[int] | None
    sites: dict[str, int] = field(default_factory=dict)
    site_names: list[str] = field(default_factory=list)
    areas: dict[tuple[int, str], int] = field(default_factory=dict)
    area_names: dict[int, list[str]] = field(default_factory=dict)
    classes: dict[str, int] = field(default_factory=dict)
    class_names: list[str] = field(default_factory=list)
    models: dict[tuple[str, str], ModelHeld] = field(default_factory=dict)
    model_names: list[tuple[str, str]] = field(default_factory=list)
    revisions: dict[tuple[int, str], int] = field(default_factory=dict)
    procedures: dict[str, int] = field(default_factory=dict)
    procedure_names: list[str] = field(default_factory=list)
    devices: dict[tuple[int, str], int] = field(default_factory=dict)
    tags: dict[str, int] = field(default_factory=dict)
    said: dict[int, DeviceHeld] = field(default_factory=dict)

    def add_model(self, maker: str, name: str, held: ModelHeld) -> None:
        self.models[maker.casefold(), name.casefold()] = held
        self.model_names.append((maker.casefold(), name))


def inventory_held(*, on: dt.date, actor: Actor) -> InventoryHeld:
    """As known now: thirteen statements and the head."""
    known, held = head().size, InventoryHeld(actor.sites)
    for site, label, name in SiteDetails.objects.known(known).on(on).values_list("site_id", "label", "name"):
        held.sites |= {label.casefold(): site, name.casefold(): site}
        held.site_names += [label, name]
    areas = AreaDetails.objects.known(known).on(on).filter(closed=False)
    for area, site, name in areas.values_list("area_id", "area__site_id", "name"):
        held.areas[site, name.casefold()] = area
        held.area_names.setdefault(site, []).append(name)
    for device_class, name in ClassDetails.objects.known(known).on(on).values_list("device_class_id", "name"):
        held.classes[name.casefold()] = device_class
        held.class_names.append(name)
    columns = ("device_model_id", "device_class_id", "maker", "name")
    for model, device_class, maker, name in ModelDetails.objects.known(known).on(on).values_list(*columns):
        held.add_model(maker, name, ModelHeld(model, device_class))
    revisions = RevisionDetails.objects.known(known).on(on)
    for revision, model, label in revisions.values_list("revision_id", "revision__device_model_id", "label"):
        held.revisions[model, label.casefold()] = revision
    procedures = ProcedureDetails.objects.known(known).on(on).filter(withdrawn=False)
    for procedure, name in procedures.values_list("procedure_id", "name"):
        held.procedures[name.casefold()] = procedure
        held.procedure_names.append(name)
    identities = DeviceIdentity.objects.known(known).values_list("device_id", "device_model_id", "serial")
    held.devices = {(model, serial.casefold()): device for device, model, serial in identities}
    tags = TagHeld.objects.known(known).on(on).filter(tag__isnull=False).values_list("device_id", "tag")
    held.tags = {tag.casefold(): device for device, tag in tags}
    _add_said(held, on, known)
    return held


def _add_said(held: InventoryHeld, on: dt.date, known: int) -> None:
    said = held.said = {device: DeviceHeld() for device in held.devices.values()}
    origins = DeviceOrigin.objects.known(known).values_list("device_id", "known_from_on", "found_in_use")
    for device, known_from, in_use in origins:
        said[device].known_from_on, said[device].found_in_use = known_from, in_use
    for device, area in Placement.objects.known(known).on(on).values_list("device_id", "area_id"):
        said[device].area = area
    for device, revision in DeviceRevision.objects.known(known).on(on).values_list("device_id", "revision_id"):
        said[device].revision = revision
    for device, kind in Ownership.objects.known(known).on(on).values_list("device_id", "kind"):
        said[device].ownership = kind
    carried = CarriedOver.objects.known(known).values_list("device_id", "procedure_id", "performed_on")
    for device, procedure, done_on in carried:
        said[device].last_done[procedure] = done_on
