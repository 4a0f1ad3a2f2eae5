"""The people of the tests and what they work on, made by the services. Nobody here exists."""

import datetime as dt
from collections.abc import Collection, Iterator
from contextlib import contextmanager
from dataclasses import dataclass

import pytest

from pmcore.engines.records import SYSTEM, Actor
from pmcore.engines.vocabulary import AreaKind, EnergySource, Role
from pmcore.models import Placement
from pmcore.queries.head import head
from pmcore.services.catalogue import register_class, register_model
from pmcore.services.devices import register_device
from pmcore.services.people import register_person
from pmcore.services.sites import open_area, open_site

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
def check_refused(error: type[Exception], says: str | None = None) -> Iterator[None]:
    """What happens within is refused by that error, and the history is as long as before."""
    size = head().size
    with pytest.raises(error, match=says):
        yield
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
