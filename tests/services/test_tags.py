"""A tag is carried by one device at a time."""

import datetime as dt
from typing import Any

import pytest

from pmcore.models import TagHeld
from pmcore.services.corrections import take_back
from pmcore.services.devices import TagTaken, register_device, set_tag
from tests.cast import AT, JANUARY, Hospital, a_device, check_refused
from tests.history import MARCH

pytestmark = pytest.mark.django_db

JUNE = dt.date(2026, 6, 1)


@pytest.fixture
def other(hospital: Hospital) -> int:
    return a_device(hospital.odile, hospital.model, "OM-3", hospital.theatre)


def by(hospital: Hospital) -> dict[str, Any]:
    return {"actor": hospital.odile, "at": AT}


def test_a_tag_that_is_carried_is_not_given_again(hospital: Hospital, other: int) -> None:
    with check_refused(TagTaken):
        set_tag(device=other, tag="T-0001", from_on=MARCH, **by(hospital))
    with check_refused(TagTaken):
        register_device(
            device_model=hospital.model, serial="OM-2", tag="T-0001", area=hospital.theatre, from_on=MARCH,
            **by(hospital),
        )  # fmt: skip


def test_a_tag_that_was_taken_off_goes_to_another(hospital: Hospital, other: int) -> None:
    set_tag(device=hospital.device, tag=None, from_on=MARCH, **by(hospital))
    set_tag(device=other, tag="T-0001", from_on=MARCH, **by(hospital))
    assert TagHeld.objects.current().on(MARCH).get(tag="T-0001").device_id == other


def test_a_tag_that_will_be_carried_is_not_given_before(hospital: Hospital, other: int) -> None:
    set_tag(device=other, tag="T-0009", from_on=JUNE, **by(hospital))
    with check_refused(TagTaken):
        set_tag(device=hospital.device, tag="T-0009", from_on=MARCH, **by(hospital))


def test_a_tag_is_given_for_the_days_on_which_nobody_carries_it(hospital: Hospital, other: int) -> None:
    set_tag(device=other, tag="T-0009", from_on=JUNE, **by(hospital))
    set_tag(device=hospital.device, tag="T-0010", from_on=JUNE, **by(hospital))
    assert set_tag(device=hospital.device, tag="T-0009", from_on=MARCH, **by(hospital)).seq


def test_a_device_may_be_given_its_own_tag_again(hospital: Hospital) -> None:
    assert set_tag(device=hospital.device, tag="T-0001", from_on=MARCH, **by(hospital)).seq


def test_a_removal_is_not_taken_back_when_another_carries_the_tag_since(hospital: Hospital, other: int) -> None:
    set_tag(device=hospital.device, tag=None, from_on=MARCH, **by(hospital))
    removal = TagHeld.objects.current().get(device=hospital.device, from_on=MARCH).pk
    set_tag(device=other, tag="T-0001", from_on=JUNE, **by(hospital))
    with check_refused(TagTaken):
        take_back(wrong=removal, reason="It never came off.", **by(hospital))


def test_a_wrong_tag_is_taken_back_and_the_one_before_counts(hospital: Hospital) -> None:
    set_tag(device=hospital.device, tag="T-0002", from_on=MARCH, **by(hospital))
    wrong = TagHeld.objects.current().get(tag="T-0002").pk
    take_back(wrong=wrong, reason="Misread.", **by(hospital))
    held = TagHeld.objects.current().filter(device=hospital.device)
    assert (held.on(MARCH).get().tag, held.on(JANUARY).get().tag) == ("T-0001", "T-0001")
