"""The people of the tests and what they work on, made by the services. Nobody here exists."""

import datetime as dt
from dataclasses import dataclass

from pmcore.engines.records import SYSTEM, Actor
from pmcore.engines.vocabulary import AreaKind, EnergySource, Role
from pmcore.services.catalogue import register_class, register_model
from pmcore.services.devices import register_device
from pmcore.services.people import register_person
from pmcore.services.sites import open_area, open_site

AT = dt.datetime(2026, 10, 31, 7, 0, tzinfo=dt.UTC)
JANUARY = dt.date(2026, 1, 1)


@dataclass(frozen=True)
class Hospital:
    """Two sites, an area in each, one device at the first; Odile manages both, Ruan works at the first only."""

    alderwick: int
    stennet: int
    theatre: int
    ward: int
    model: int
    device: int
    odile: Actor
    ruan: Actor


def a_person(name: str, role: Role, *sites: int) -> Actor:
    receipt = register_person(name=name, role=role, sites=sites, from_on=JANUARY, actor=SYSTEM, at=AT)
    return Actor(receipt.subject, role, frozenset(sites))


def a_site(label: str, name: str) -> int:
    zone = "Europe/London"
    return open_site(label=label, name=name, time_zone=zone, from_on=JANUARY, actor=SYSTEM, at=AT).subject


def a_device(actor: Actor, model: int, serial: str, area: int, tag: str | None = None) -> int:
    return register_device(
        device_model=model, serial=serial, tag=tag, area=area, from_on=JANUARY, actor=actor, at=AT
    ).subject


def a_hospital() -> Hospital:
    alderwick, stennet = a_site("AG", "Alderwick General"), a_site("SP", "Stennet Point")
    odile = a_person("Odile Brandt-Ferro", Role.MANAGER, alderwick, stennet)
    ruan = a_person("Ruan Tesk", Role.TECHNICIAN, alderwick)
    theatre = open_area(
        site=alderwick, name="Theatre 1", kind=AreaKind.THEATRE, from_on=JANUARY, actor=odile, at=AT
    ).subject
    ward = open_area(site=stennet, name="Ward 6", kind=AreaKind.WARD, from_on=JANUARY, actor=odile, at=AT).subject
    table = register_class(name="Surgical table", from_on=JANUARY, actor=odile, at=AT).subject
    sources = [EnergySource.MAINS, EnergySource.BATTERY]
    model = register_model(
        maker="Orvane", name="Marl", device_class=table, energy_sources=sources, from_on=JANUARY, actor=odile, at=AT
    ).subject
    device = a_device(odile, model, "OM-1", theatre, tag="T-0001")
    return Hospital(alderwick, stennet, theatre, ward, model, device, odile, ruan)
