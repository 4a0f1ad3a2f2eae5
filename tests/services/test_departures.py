"""Devices that leave the inventory, and the ones that take their place."""

import datetime as dt
from typing import Any

import pytest

from pmcore.engines.vocabulary import Departure, OwnershipKind, Role
from pmcore.models import (
    CarriedOver,
    DeviceIdentity,
    DeviceOrigin,
    Ownership,
    Placement,
    ServiceState,
    Succession,
    TagHeld,
)
from pmcore.queries.head import head
from pmcore.queries.verification import verify
from pmcore.services.departures import DepartureUnclear, Ours, leave_inventory, return_device, swap_device
from pmcore.services.device_days import InTheFuture, NotYetInRecord
from pmcore.services.devices import SerialTaken, TagTaken
from pmcore.services.loans import set_ownership
from pmcore.services.refusals import NotAllowed, UnknownReference, WrongSite
from pmcore.services.requests import Request
from pmcore.services.service_states import HasLeft
from tests.cast import AT, JANUARY, Hospital, a_device, a_person, check_refused
from tests.history import MARCH
from tests.states import gone, in_role

pytestmark = pytest.mark.django_db

ONE_DAY = dt.timedelta(days=1)


def by(hospital: Hospital, **options: Any) -> dict[str, Any]:
    return {"device": hospital.device, "from_on": MARCH, "actor": hospital.odile, "at": AT} | options


def leased(hospital: Hospital) -> None:
    set_ownership(kind=OwnershipKind.LEASED, **by(hospital, from_on=MARCH - ONE_DAY))


def test_it_leaves_on_a_day_and_says_how(hospital: Hospital) -> None:
    leave_inventory(departure=Departure.SCRAPPED, note="Column bent.", **by(hospital))
    left = ServiceState.objects.current().on(MARCH).get(device=hospital.device)
    assert (left.state, left.departure, left.note.words) == ("left", "scrapped", "Column bent.")
    assert ServiceState.objects.current().on(MARCH - ONE_DAY).get(device=hospital.device).state == "in_service"
    assert verify().sound


def test_nothing_leaves_twice(hospital: Hospital) -> None:
    gone(hospital, MARCH)
    for deed in (
        lambda: leave_inventory(departure=Departure.SOLD, **by(hospital, from_on=MARCH + ONE_DAY)),
        lambda: return_device(**by(hospital, from_on=MARCH + ONE_DAY)),
        lambda: swap_device(serial="OM-2", **by(hospital, from_on=MARCH + ONE_DAY)),
    ):
        with check_refused(HasLeft):
            deed()


@pytest.mark.parametrize("departure", [Departure.DECLARED_LOST, Departure.SWAPPED, Departure.RETURNED])
def test_departures_that_ask_for_more_are_not_told_in_passing(hospital: Hospital, departure: Departure) -> None:
    with check_refused(DepartureUnclear):
        leave_inventory(departure=departure, **by(hospital))


def test_what_is_not_ours_goes_back(hospital: Hospital) -> None:
    with check_refused(Ours):
        return_device(**by(hospital))
    leased(hospital)
    return_device(**by(hospital))
    assert ServiceState.objects.current().on(MARCH).get(device=hospital.device).departure == "returned"


def test_a_swapped_device_leaves_and_another_stands_in_its_place_without_credit(hospital: Hospital) -> None:
    leased(hospital)
    successor = swap_device(serial="OM-2", tag="T-0001", **by(hospital)).subject
    old = ServiceState.objects.current().on(MARCH).get(device=hospital.device)
    assert (old.state, old.departure) == ("left", "swapped")
    assert Succession.objects.get(device=hospital.device).successor_id == successor
    identity = DeviceIdentity.objects.current().get(device=successor)
    assert (identity.device_model_id, identity.serial) == (hospital.model, "OM-2")
    assert Placement.objects.current().on(MARCH).get(device=successor).area_id == hospital.theatre
    assert Ownership.objects.current().on(MARCH).get(device=successor).kind == "leased"
    assert DeviceOrigin.objects.get(device=successor).known_from_on == MARCH
    assert not CarriedOver.objects.filter(device=successor).exists()
    held = TagHeld.objects.current().on(MARCH)
    assert (held.get(device=successor).tag, held.get(device=hospital.device).tag) == ("T-0001", None)
    assert verify().sound


def test_a_swap_that_is_refused_half_way_writes_nothing(hospital: Hospital) -> None:
    other = a_device(hospital.odile, hospital.model, "OM-2", hospital.theatre, tag="T-0002")
    assert other
    with check_refused(SerialTaken):  # the tag had already been taken off
        swap_device(serial="OM-2", tag="T-0001", **by(hospital))
    with check_refused(TagTaken):
        swap_device(serial="OM-3", tag="T-0002", **by(hospital))
    with check_refused(UnknownReference):
        swap_device(serial="OM-3", device_model=404, **by(hospital))


def test_a_swap_that_is_sent_twice_happens_once(hospital: Hospital) -> None:
    request = Request.of("tablet-1", {"device": hospital.device})
    first = swap_device(serial="OM-2", request=request, **by(hospital))
    size = head().size
    again = swap_device(serial="OM-2", request=request, **by(hospital))
    assert (again.subject, again.repeated, head().size) == (first.subject, True, size)


def test_it_leaves_on_a_day_that_has_come_and_from_ones_own_site(hospital: Hospital) -> None:
    stranger = a_person("Tove Halvard-Quist", Role.MANAGER, hospital.stennet)
    for more, error in (
        ({"from_on": AT.date() + ONE_DAY}, InTheFuture),
        ({"from_on": JANUARY - ONE_DAY}, NotYetInRecord),
        ({"device": 404}, UnknownReference),
        ({"actor": stranger}, WrongSite),
        ({"actor": in_role(hospital.odile, Role.CLINICAL_LEAD)}, NotAllowed),
    ):
        with check_refused(error):
            leave_inventory(departure=Departure.SOLD, **by(hospital, **more))
        with check_refused(error):
            return_device(**by(hospital, **more))
        with check_refused(error):
            swap_device(serial="OM-2", **by(hospital, **more))


def test_a_technician_sends_back_and_swaps_but_scraps_nothing(hospital: Hospital) -> None:
    with check_refused(NotAllowed):
        leave_inventory(departure=Departure.SCRAPPED, **by(hospital, actor=hospital.ruan))
    leased(hospital)
    assert return_device(**by(hospital, actor=hospital.ruan)).subject == hospital.device
