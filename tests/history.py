"""A short history to test the record with: a site with two areas, a person, one device that moves, one correction, one
entry taken back. Written by `append` itself, with no service between."""

import datetime as dt
from dataclasses import dataclass
from typing import Any

from pmcore.engines.records import SYSTEM, Actor
from pmcore.engines.vocabulary import Role
from pmcore.models import (
    Area,
    AreaDetails,
    ClassDetails,
    Device,
    DeviceClass,
    DeviceIdentity,
    DeviceModel,
    DueInspection,
    InspectionPlan,
    ModelDetails,
    Person,
    PersonDetails,
    Placement,
    PlanTerms,
    Procedure,
    ProcedureDetails,
    Site,
    SiteDetails,
)
from pmcore.models.rows import Row
from pmcore.services.append import append
from pmcore.services.requests import Receipt

AT = dt.datetime(2026, 10, 31, 7, 0, tzinfo=dt.UTC)
JANUARY = dt.date(2026, 1, 1)
MARCH = dt.date(2026, 3, 1)


def day(text: str) -> dt.date:
    return dt.date.fromisoformat(text)


def written(kind: str, subject: Any, *rows: Row, **options: Any) -> Receipt:
    """Append as the service itself, at a fixed moment."""
    options.setdefault("actor", SYSTEM)
    options.setdefault("at", AT)
    return append(kind, subject, rows, **options)


@dataclass
class World:
    """The ids of what `small_world` wrote."""

    site: int
    theatre: int
    ward: int
    person: int
    model: int
    device: int
    procedure: int
    plan: int

    @property
    def technician(self) -> Actor:
        return Actor(person=self.person, role=Role.TECHNICIAN, sites=frozenset({self.site}))


def _opened(model: Any, kind: str, details: Any, /, **values: Any) -> int:
    """A thing with its first fact; the fact's column for the thing is the first in `about`."""
    own = {name: values.pop(name) for name in list(values) if name in {f.name for f in model._meta.fields}}
    thing = Row(model, **own)
    written(kind, thing, thing, Row(details, **{details.about[0]: thing}, from_on=JANUARY, **values))
    assert thing.id is not None
    return thing.id


def a_device(model: int, serial: str, area: int | None = None) -> int:
    device = Row(Device)
    rows = [device, Row(DeviceIdentity, device=device, device_model=model, serial=serial)]
    if area is not None:
        rows.append(Row(Placement, device=device, area=area, from_on=JANUARY))
    written("device_registered", device, *rows)
    assert device.id is not None
    return device.id


def small_world() -> World:
    site = _opened(Site, "site_opened", SiteDetails, label="AG", name="Alderwick General", time_zone="Europe/London")
    theatre = _opened(Area, "area_opened", AreaDetails, site=site, name="Theatre 1", kind="theatre", closed=False)
    ward = _opened(Area, "area_opened", AreaDetails, site=site, name="Ward 6", kind="ward", closed=False)
    person = _opened(Person, "person_registered", PersonDetails, name="Ines Caddock")
    device_class = _opened(DeviceClass, "class_registered", ClassDetails, name="Surgical table")
    model = _opened(
        DeviceModel, "model_registered", ModelDetails, maker="Orvane", name="Marl", device_class=device_class,
        mains=True, battery=True, manual=False,
    )  # fmt: skip
    procedure = _opened(Procedure, "procedure_registered", ProcedureDetails, name="Yearly check", withdrawn=False)
    device = a_device(model, "OM-1", theatre)
    plan = _opened(
        InspectionPlan, "plan_made", PlanTerms, name="Tables, yearly", device_model=model, procedure=procedure,
        every=12, unit="month", counts_from="anchored", window="days", window_before=30, window_after=30,
        basis="maker", ended=False, approved_by=person,
    )  # fmt: skip
    return World(site, theatre, ward, person, model, device, procedure, plan)


def a_move(world: World, area: int, from_on: dt.date, **options: Any) -> Receipt:
    row = Row(Placement, device=world.device, area=area, from_on=from_on)
    return written("device_placed", world.device, row, **options)


def some_due(world: World, *due_days: dt.date) -> Receipt:
    month = dt.timedelta(days=30)
    rows = [
        Row(
            DueInspection, device=world.device, plan=world.plan, procedure=world.procedure, due_on=due,
            opens_on=due - month, closes_on=due + month,
        )
        for due in due_days
    ]  # fmt: skip
    return written("inspections_due", world.device, *rows)


def small_history() -> World:
    """The small world; then a move to the ward, corrected to April; a wrong move taken back; two due inspections."""
    world = small_world()
    a_move(world, world.ward, MARCH, note="Asked for by the ward.")
    moved = Placement.objects.current().get(device=world.device, from_on=MARCH)
    april = Row(Placement, device=world.device, area=world.ward, from_on=day("2026-04-01"))
    written("device_placed", world.device, april, replaces=[moved], note="It was moved in April.")
    a_move(world, world.theatre, day("2026-06-01"))
    wrong = Placement.objects.current().get(device=world.device, from_on=day("2026-06-01"))
    written("device_placed", world.device, replaces=[wrong], note="Another device was meant.")
    some_due(world, day("2026-06-15"), day("2027-06-15"))
    return world
