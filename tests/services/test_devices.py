"""Devices: what each person may say of them, and what is refused."""

from collections.abc import Callable

import pytest

from pmcore.engines.vocabulary import Departure, Role, ServiceStateKind
from pmcore.models import DeviceIdentity, Placement, ServiceState, TagHeld
from pmcore.queries.head import head
from pmcore.queries.verification import verify
from pmcore.services.devices import (
    DepartureUnclear,
    ReasonMissing,
    SerialTaken,
    TagTaken,
    correct_identity,
    correct_placement,
    move_device,
    register_device,
    set_service_state,
    set_tag,
    take_back,
)
from pmcore.services.refusals import AlreadyReplaced, NotAllowed, UnknownReference, WrongSite
from pmcore.services.requests import Request
from tests.cast import AT, JANUARY, Hospital, a_device, a_hospital, a_person
from tests.history import MARCH

pytestmark = pytest.mark.django_db


@pytest.fixture
def hospital() -> Hospital:
    return a_hospital()


def refused(error: type[Exception], deed: Callable[[], object]) -> None:
    size = head().size
    with pytest.raises(error):
        deed()
    assert head().size == size


def test_a_device_is_registered_with_all_that_is_known(hospital: Hospital) -> None:
    device = hospital.device
    assert DeviceIdentity.objects.current().get(device=device).serial == "OM-1"
    assert TagHeld.objects.current().on(JANUARY).get(device=device).tag == "T-0001"
    assert Placement.objects.current().on(JANUARY).get(device=device).area_id == hospital.theatre
    assert ServiceState.objects.current().on(JANUARY).get(device=device).state == "in_service"
    assert verify().sound


def test_a_serial_number_is_registered_once(hospital: Hospital) -> None:
    refused(SerialTaken, lambda: a_device(hospital.odile, hospital.model, "OM-1", hospital.theatre))


def test_a_tag_is_carried_by_one_device(hospital: Hospital) -> None:
    refused(TagTaken, lambda: a_device(hospital.odile, hospital.model, "OM-2", hospital.theatre, tag="T-0001"))
    other = a_device(hospital.odile, hospital.model, "OM-3", hospital.theatre)
    deed = {"tag": "T-0001", "from_on": MARCH, "actor": hospital.ruan, "at": AT}
    refused(TagTaken, lambda: set_tag(device=other, **deed))
    set_tag(device=hospital.device, tag=None, from_on=MARCH, actor=hospital.ruan, at=AT)
    set_tag(device=other, **deed)
    assert TagHeld.objects.current().on(MARCH).get(tag="T-0001").device_id == other


def test_a_technician_moves_devices_at_their_own_site_only(hospital: Hospital) -> None:
    refused(
        WrongSite,
        lambda: move_device(device=hospital.device, area=hospital.ward, from_on=MARCH, actor=hospital.ruan, at=AT),
    )
    move_device(device=hospital.device, area=hospital.ward, from_on=MARCH, actor=hospital.odile, at=AT)
    refused(
        WrongSite,
        lambda: move_device(
            device=hospital.device, area=hospital.theatre, from_on=MARCH.replace(day=2), actor=hospital.ruan, at=AT
        ),
    )


@pytest.mark.parametrize("role", [Role.AUDITOR, Role.CLINICAL_LEAD, Role.PROVIDER])
def test_who_only_looks_moves_nothing(hospital: Hospital, role: Role) -> None:
    onlooker = a_person("Wim Ostrava-Keel", role, hospital.alderwick, hospital.stennet)
    refused(
        NotAllowed,
        lambda: move_device(device=hospital.device, area=hospital.ward, from_on=MARCH, actor=onlooker, at=AT),
    )


def test_an_area_that_does_not_exist_is_refused(hospital: Hospital) -> None:
    refused(
        UnknownReference,
        lambda: move_device(device=hospital.device, area=999_999, from_on=MARCH, actor=hospital.odile, at=AT),
    )


def test_a_departure_says_how(hospital: Hospital) -> None:
    deed = {"device": hospital.device, "from_on": MARCH, "actor": hospital.ruan, "at": AT}
    refused(DepartureUnclear, lambda: set_service_state(state=ServiceStateKind.LEFT, **deed))
    refused(
        DepartureUnclear,
        lambda: set_service_state(state=ServiceStateKind.STORED, departure=Departure.SOLD, **deed),
    )
    set_service_state(state=ServiceStateKind.LEFT, departure=Departure.SCRAPPED, **deed)
    assert ServiceState.objects.current().on(MARCH).get(device=hospital.device).departure == "scrapped"


def test_a_correction_needs_a_reason_and_happens_once(hospital: Hospital) -> None:
    wrong = Placement.objects.current().get(device=hospital.device)
    deed = {"wrong": wrong, "area": hospital.ward, "from_on": JANUARY, "actor": hospital.odile, "at": AT}
    refused(ReasonMissing, lambda: correct_placement(reason=" ", **deed))
    correct_placement(reason="It came to the ward first.", **deed)
    assert Placement.objects.current().get(device=hospital.device).area_id == hospital.ward
    refused(AlreadyReplaced, lambda: correct_placement(reason="Once more.", **deed))


def test_an_identity_cannot_be_corrected_into_another_device(hospital: Hospital) -> None:
    a_device(hospital.odile, hospital.model, "OM-2", hospital.theatre)
    wrong = DeviceIdentity.objects.current().get(device=hospital.device)
    deed = {"wrong": wrong, "device_model": hospital.model, "actor": hospital.odile, "at": AT, "reason": "Misread."}
    refused(SerialTaken, lambda: correct_identity(serial="OM-2", **deed))
    correct_identity(serial="OM-7", **deed)
    assert DeviceIdentity.objects.current().get(device=hospital.device).serial == "OM-7"


def test_what_never_was_is_taken_back(hospital: Hospital) -> None:
    move_device(device=hospital.device, area=hospital.ward, from_on=MARCH, actor=hospital.odile, at=AT)
    wrong = Placement.objects.current().get(device=hospital.device, from_on=MARCH)
    take_back(wrong=wrong, reason="Another device was moved.", actor=hospital.odile, at=AT)
    assert Placement.objects.current().on(MARCH).get(device=hospital.device).area_id == hospital.theatre
    assert verify().sound


def test_a_technician_corrects_nothing(hospital: Hospital) -> None:
    wrong = Placement.objects.current().get(device=hospital.device)
    refused(NotAllowed, lambda: take_back(wrong=wrong, reason="Mine.", actor=hospital.ruan, at=AT))


def test_a_retry_gets_the_first_receipt_even_where_it_would_now_be_refused(hospital: Hospital) -> None:
    request = Request.of("tablet-1", {"serial": "OM-9"})

    def register() -> object:
        return register_device(
            device_model=hospital.model, serial="OM-9", tag="T-9", area=hospital.theatre, from_on=JANUARY,
            actor=hospital.odile, at=AT, request=request,
        )  # fmt: skip

    first, again = register(), register()
    assert (again.seq, again.repeated) == (first.seq, True)  # type: ignore[attr-defined]
