"""The people of the tests and what they work on, made by the services. Nobody here exists."""

import datetime as dt
from collections.abc import Collection, Iterator
from contextlib import contextmanager
from dataclasses import dataclass
from typing import Any

import pytest

from pmcore.engines.due_dates import Window
from pmcore.engines.records import SYSTEM, Actor
from pmcore.engines.vocabulary import AreaKind, Basis, EnergySource, PlanBasis, Role, StepKind, Unit
from pmcore.models import Placement
from pmcore.queries.head import head
from pmcore.services.catalogue import register_class, register_model
from pmcore.services.devices import register_device
from pmcore.services.people import register_person
from pmcore.services.plans import make_plan
from pmcore.services.procedures import approve_version, register_procedure, write_version
from pmcore.services.sites import open_area, open_site
from pmcore.services.steps import StepLine

AT = dt.datetime(2026, 10, 31, 7, 0, tzinfo=dt.UTC)
JANUARY = dt.date(2026, 1, 1)


@dataclass(frozen=True)
class Hospital:
    """Two sites, an area in each, one device at the first. Wim administers and Odile manages both; Ruan, a technician,
    works at the first only."""

    alderwick: int
    stennet: int
    theatre: int
    ward: int
    table: int
    model: int
    device: int
    placement: int
    wim: Actor
    odile: Actor
    ruan: Actor


@contextmanager
def check_refused(error: type[Exception], says: str | None = None) -> Iterator[Any]:
    """What happens within is refused by that error, as what is given says, and the history is as long as before."""
    size = head().size
    with pytest.raises(error, match=says) as refusal:
        yield refusal
    assert head().size == size


def a_person(name: str, role: Role, *sites: int) -> Actor:
    receipt = register_person(name=name, role=role, sites=sites, from_on=JANUARY, actor=SYSTEM, at=AT)
    return Actor(receipt.subject, role, frozenset(sites))


def a_site(label: str, name: str) -> int:
    zone = "Europe/London"
    return open_site(label=label, name=name, time_zone=zone, from_on=JANUARY, actor=SYSTEM, at=AT).subject


def an_area(actor: Actor, site: int, name: str, kind: AreaKind = AreaKind.THEATRE) -> int:
    return open_area(site=site, name=name, kind=kind, from_on=JANUARY, actor=actor, at=AT).subject


def a_model(
    actor: Actor, maker: str, name: str, device_class: int, sources: Collection[EnergySource] = (EnergySource.MAINS,)
) -> int:
    return register_model(
        maker=maker, name=name, device_class=device_class, energy_sources=sources, from_on=JANUARY, actor=actor, at=AT
    ).subject


def a_device(actor: Actor, model: int, serial: str, area: int, tag: str | None = None) -> int:
    return register_device(
        device_model=model, serial=serial, tag=tag, area=area, from_on=JANUARY, actor=actor, at=AT
    ).subject


def a_hospital() -> Hospital:
    alderwick, stennet = a_site("AG", "Alderwick General"), a_site("SP", "Stennet Point")
    wim = a_person("Wim Ostrava-Keel", Role.ADMINISTRATOR, alderwick, stennet)
    odile = a_person("Odile Brandt-Ferro", Role.MANAGER, alderwick, stennet)
    ruan = a_person("Ruan Tesk", Role.TECHNICIAN, alderwick)
    theatre = an_area(wim, alderwick, "Theatre 1")
    ward = an_area(wim, stennet, "Ward 6", AreaKind.WARD)
    table = register_class(name="Surgical table", from_on=JANUARY, actor=odile, at=AT).subject
    model = a_model(odile, "Orvane", "Marl", table, [EnergySource.MAINS, EnergySource.BATTERY])
    device = a_device(odile, model, "OM-1", theatre, tag="T-0001")
    placement = Placement.objects.get(device=device).pk
    return Hospital(alderwick, stennet, theatre, ward, table, model, device, placement, wim, odile, ruan)


def a_procedure(actor: Actor, name: str = "Yearly check", *, approved: bool = True) -> int:
    """With one version of one step, approved from January on unless said otherwise."""
    procedure = register_procedure(name=name, from_on=JANUARY, actor=actor, at=AT).subject
    step = StepLine(key="frame", kind=StepKind.LOOK, prompt="Is the frame free of cracks?")
    version = write_version(
        procedure=procedure, number=1, title=name, minutes=40, people=1, steps=[step], actor=actor, at=AT
    ).subject
    if approved and actor.person is not None:
        approve_version(version=version, from_on=JANUARY, approved_by=actor.person, actor=actor, at=AT)
    return procedure


def a_plan(actor: Actor, procedure: int, **changed: Any) -> int:
    """Every 12 months, anchored, 30 days before and after, from the day of the tests on; for what `changed` names."""
    asked: dict[str, Any] = {
        "name": "Tables, yearly", "procedure": procedure, "every": 12, "unit": Unit.MONTH,
        "counts_from": Basis.ANCHORED, "window": Window.days(30, 30), "basis": PlanBasis.MAKER,
        "approved_by": actor.person, "from_on": AT.date(), "actor": actor, "at": AT,
    }  # fmt: skip
    return make_plan(**{**asked, **changed}).subject
