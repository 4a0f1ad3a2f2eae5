"""Devices: what is said of them, and what is refused."""

import datetime as dt
from typing import Any

import pytest

from pmcore.engines.vocabulary import Departure, OwnershipKind, ServiceStateKind
from pmcore.models import (
    DeviceIdentity,
    DeviceOrigin,
    DeviceRevision,
    Ownership,
    Placement,
    ServiceState,
    TagHeld,
)
from pmcore.queries.columns import BadValue
from pmcore.queries.verification import verify
from pmcore.services.catalogue import register_model, register_revision
from pmcore.services.departures import leave_inventory
from pmcore.services.device_days import InTheFuture, NotYetInRecord
from pmcore.services.devices import (
    ComesAsLeft,
    RevisionOfAnotherModel,
    SerialTaken,
    move_device,
    register_device,
    set_tag,
)
from pmcore.services.refusals import UnknownReference, WrongSite
from pmcore.services.service_states import HasLeft
from tests.cast import AT, JANUARY, Hospital, a_device, check_refused
from tests.history import MARCH

pytestmark = pytest.mark.django_db


def asked_of(hospital: Hospital) -> dict[str, Any]:
    return {
        "device_model": hospital.model, "serial": "OM-2", "tag": "T-0002", "area": hospital.theatre,
        "from_on": MARCH, "actor": hospital.odile, "at": AT,
    }  # fmt: skip


def test_a_device_is_registered_with_all_that_is_known(hospital: Hospital) -> None:
    by_odile: dict[str, Any] = {"from_on": JANUARY, "actor": hospital.odile, "at": AT}
    revision = register_revision(device_model=hospital.model, label="B", **by_odile).subject
    device = register_device(
        **asked_of(hospital), revision=revision, ownership=OwnershipKind.LEASED, state=ServiceStateKind.STORED,
        known_from_on=JANUARY, acquired_on=JANUARY, found_in_use=True,
    ).subject  # fmt: skip
    assert DeviceIdentity.objects.current().get(device=device).serial == "OM-2"
    origin = DeviceOrigin.objects.current().get(device=device)
    assert (origin.known_from_on, origin.acquired_on, origin.found_in_use) == (JANUARY, JANUARY, True)
    assert DeviceRevision.objects.current().on(MARCH).get(device=device).revision_id == revision
    assert Ownership.objects.current().on(MARCH).get(device=device).kind == "leased"
    assert TagHeld.objects.current().on(MARCH).get(device=device).tag == "T-0002"
    assert Placement.objects.current().on(MARCH).get(device=device).area_id == hospital.theatre
    assert ServiceState.objects.current().on(MARCH).get(device=device).state == "stored"
    assert verify().sound


def test_its_history_counts_from_the_first_day_unless_another_is_said(hospital: Hospital) -> None:
    assert DeviceOrigin.objects.get(device=register_device(**asked_of(hospital)).subject).known_from_on == MARCH


@pytest.mark.parametrize(
    ("changed", "error"),
    [
        ({"serial": "OM-1"}, SerialTaken),
        ({"serial": ""}, BadValue),
        ({"serial": "OM\x00"}, BadValue),
        ({"tag": "T" * 41}, BadValue),
        ({"from_on": dt.datetime(2026, 3, 1, tzinfo=dt.UTC)}, BadValue),
        ({"known_from_on": "last year"}, BadValue),
        ({"ownership": "stolen"}, BadValue),
        ({"state": ServiceStateKind.LEFT}, ComesAsLeft),
        ({"device_model": 404}, UnknownReference),
        ({"area": 404}, UnknownReference),
        ({"revision": 404}, UnknownReference),
    ],
)
def test_a_device_that_makes_no_sense_is_refused(
    hospital: Hospital, changed: dict[str, Any], error: type[Exception]
) -> None:
    with check_refused(error):
        register_device(**{**asked_of(hospital), **changed})


def test_a_revision_of_another_model_is_refused(hospital: Hospital) -> None:
    by_odile: dict[str, Any] = {"from_on": JANUARY, "actor": hospital.odile, "at": AT}
    chert = register_model(
        maker="Orvane", name="Chert", device_class=hospital.table, energy_sources=[], **by_odile
    ).subject
    revision = register_revision(device_model=chert, label="B", **by_odile).subject
    with check_refused(RevisionOfAnotherModel):
        register_device(**asked_of(hospital), revision=revision)


def test_the_same_serial_number_of_another_model_is_another_device(hospital: Hospital) -> None:
    by_odile: dict[str, Any] = {"from_on": JANUARY, "actor": hospital.odile, "at": AT}
    chert = register_model(
        maker="Orvane", name="Chert", device_class=hospital.table, energy_sources=[], **by_odile
    ).subject
    assert a_device(hospital.odile, chert, "OM-1", hospital.theatre) != hospital.device


def test_a_device_moves_from_a_day_on(hospital: Hospital) -> None:
    move_device(device=hospital.device, area=hospital.ward, from_on=MARCH, actor=hospital.odile, at=AT)
    placed = Placement.objects.current().filter(device=hospital.device)
    before = placed.on(MARCH - dt.timedelta(days=1)).get()
    assert (before.area_id, placed.on(MARCH).get().area_id) == (hospital.theatre, hospital.ward)


def test_a_device_that_is_moved_twice_a_day_stands_where_it_was_moved_last(hospital: Hospital) -> None:
    for area in (hospital.ward, hospital.theatre, hospital.ward):
        move_device(device=hospital.device, area=area, from_on=MARCH, actor=hospital.odile, at=AT)
    assert Placement.objects.current().on(MARCH).get(device=hospital.device).area_id == hospital.ward


def test_a_device_moves_on_a_day_that_has_come_and_while_it_is_here(hospital: Hospital) -> None:
    deed: dict[str, Any] = {"device": hospital.device, "area": hospital.ward, "actor": hospital.odile, "at": AT}
    with check_refused(InTheFuture):
        move_device(from_on=AT.date() + dt.timedelta(days=1), **deed)
    with check_refused(NotYetInRecord):
        move_device(from_on=JANUARY - dt.timedelta(days=1), **deed)
    leave_inventory(device=hospital.device, departure=Departure.SOLD, from_on=MARCH, actor=hospital.odile, at=AT)
    with check_refused(HasLeft):
        move_device(from_on=MARCH, **deed)


def test_nothing_is_moved_to_or_from_another_site(hospital: Hospital) -> None:
    by_ruan: dict[str, Any] = {"actor": hospital.ruan, "at": AT}
    with check_refused(WrongSite):
        move_device(device=hospital.device, area=hospital.ward, from_on=MARCH, **by_ruan)
    elsewhere = a_device(hospital.odile, hospital.model, "OM-3", hospital.ward)
    with check_refused(WrongSite):
        move_device(device=elsewhere, area=hospital.theatre, from_on=MARCH, **by_ruan)
    with check_refused(WrongSite):  # not even by a day before it stood anywhere
        move_device(device=elsewhere, area=hospital.theatre, from_on=JANUARY - dt.timedelta(days=1), **by_ruan)


def test_a_device_of_another_site_is_neither_registered_nor_labelled(hospital: Hospital) -> None:
    one_site = type(hospital.odile)(hospital.odile.person, hospital.odile.role, hospital.ruan.sites)
    with check_refused(WrongSite):
        register_device(**{**asked_of(hospital), "area": hospital.ward, "actor": one_site})
    elsewhere = a_device(hospital.odile, hospital.model, "OM-3", hospital.ward)
    by_ruan: dict[str, Any] = {"from_on": MARCH, "actor": hospital.ruan, "at": AT}
    with check_refused(WrongSite):
        set_tag(device=elsewhere, tag="T-3", **by_ruan)


def test_what_does_not_exist_is_refused(hospital: Hospital) -> None:
    by_odile: dict[str, Any] = {"from_on": MARCH, "actor": hospital.odile, "at": AT}
    with check_refused(UnknownReference):
        move_device(device=hospital.device, area=404, **by_odile)
    with check_refused(UnknownReference):
        move_device(device=404, area=hospital.ward, **by_odile)
    with check_refused(UnknownReference):
        set_tag(device=404, tag="T-4", **by_odile)
