"""What was recorded wrongly about a device is put right once, with a reason, and stays readable as it was."""

from typing import Any

import pytest

from pmcore.models import DeviceIdentity, Entry, Placement, ServiceState
from pmcore.queries.columns import BadValue
from pmcore.queries.head import head
from pmcore.queries.verification import verify
from pmcore.services.corrections import ReasonMissing, correct_identity, correct_placement, take_back
from pmcore.services.devices import SerialTaken, move_device
from pmcore.services.locating import mark_not_located
from pmcore.services.refusals import AlreadyReplaced, UnknownReference, WrongSite
from tests.cast import AT, JANUARY, Hospital, a_device, check_refused
from tests.history import MARCH

pytestmark = pytest.mark.django_db


def by_odile(hospital: Hospital, reason: str = "Misread.") -> dict[str, Any]:
    return {"actor": hospital.odile, "at": AT, "reason": reason}


def test_a_placement_is_corrected_and_the_wrong_one_stays_readable(hospital: Hospital) -> None:
    size = head().size
    correct_placement(
        wrong=hospital.placement, area=hospital.ward, from_on=JANUARY, **by_odile(hospital, "It came to the ward.")
    )
    placed = Placement.objects.filter(device=hospital.device)
    assert placed.current().on(JANUARY).get().area_id == hospital.ward
    assert placed.known(size).on(JANUARY).get().area_id == hospital.theatre
    assert Entry.objects.latest("seq").note.words == "It came to the ward."
    assert verify().sound


def test_a_correction_happens_once(hospital: Hospital) -> None:
    deed: dict[str, Any] = {"wrong": hospital.placement, "area": hospital.ward, "from_on": JANUARY}
    correct_placement(**deed, **by_odile(hospital))
    with check_refused(AlreadyReplaced):
        correct_placement(**deed, **by_odile(hospital))
    with check_refused(AlreadyReplaced):
        take_back(wrong=hospital.placement, **by_odile(hospital))


def test_a_correction_says_why(hospital: Hospital) -> None:
    with check_refused(ReasonMissing):
        correct_placement(
            wrong=hospital.placement, area=hospital.ward, from_on=JANUARY, **by_odile(hospital, reason=" ")
        )
    with check_refused(ReasonMissing):
        take_back(wrong=hospital.placement, **by_odile(hospital, reason=""))


def test_only_what_is_in_the_record_is_corrected(hospital: Hospital) -> None:
    with check_refused(UnknownReference):
        correct_placement(wrong=404, area=hospital.ward, from_on=JANUARY, **by_odile(hospital))
    with check_refused(UnknownReference):
        correct_placement(wrong=hospital.placement, area=404, from_on=JANUARY, **by_odile(hospital))
    identity = DeviceIdentity.objects.get(device=hospital.device).pk
    with check_refused(UnknownReference):
        correct_placement(wrong=identity, area=hospital.ward, from_on=JANUARY, **by_odile(hospital))
    with check_refused(UnknownReference):  # a device without an identity would be none
        take_back(wrong=identity, **by_odile(hospital))


def test_an_identity_is_corrected_but_not_into_another_device(hospital: Hospital) -> None:
    a_device(hospital.odile, hospital.model, "OM-2", hospital.theatre)
    wrong = DeviceIdentity.objects.current().get(device=hospital.device).pk
    deed: dict[str, Any] = {"wrong": wrong, "device_model": hospital.model, **by_odile(hospital)}
    with check_refused(SerialTaken):
        correct_identity(serial="OM-2", **deed)
    with check_refused(BadValue):
        correct_identity(serial="", **deed)
    correct_identity(serial="OM-7", **deed)
    assert DeviceIdentity.objects.current().get(device=hospital.device).serial == "OM-7"


def test_what_never_was_is_taken_back_and_what_was_before_holds_on(hospital: Hospital) -> None:
    by_ruan: dict[str, Any] = {"from_on": MARCH, "actor": hospital.ruan, "at": AT}
    mark_not_located(device=hospital.device, **by_ruan)
    wrong = ServiceState.objects.current().get(device=hospital.device, from_on=MARCH).pk
    take_back(wrong=wrong, **by_odile(hospital, "It stood behind the door."))
    assert ServiceState.objects.current().on(MARCH).get(device=hospital.device).state == "in_service"
    assert verify().sound


def test_a_placement_is_corrected_by_a_member_of_every_site_that_it_concerns(hospital: Hospital) -> None:
    """The placement said the first site; today the device stands at the second."""
    move_device(device=hospital.device, area=hospital.ward, from_on=MARCH, actor=hospital.odile, at=AT)
    manager = hospital.odile
    for site in (hospital.alderwick, hospital.stennet):
        member_of_one = type(manager)(manager.person, manager.role, frozenset({site}))
        with check_refused(WrongSite):
            take_back(wrong=hospital.placement, actor=member_of_one, at=AT, reason="Misread.")
        with check_refused(WrongSite):
            correct_placement(
                wrong=hospital.placement, area=hospital.ward, from_on=JANUARY, actor=member_of_one, at=AT, reason="Why."
            )
