"""Capitals make no second thing: where a name may stand once, it may not stand again in other letters."""

import pytest

from pmcore.engines.vocabulary import EnergySource
from pmcore.models import DeviceIdentity
from pmcore.services.catalogue import AlreadyListed, register_class, register_model, register_revision
from pmcore.services.corrections import correct_identity
from pmcore.services.devices import SerialTaken, TagTaken, register_device, set_tag
from pmcore.services.sites import LabelTaken, open_site
from tests.cast import AT, JANUARY, Hospital, a_device, check_refused

pytestmark = pytest.mark.django_db

PAIRS = [("ab-12", "AB-12"), ("\u00e4b-12", "\u00c4B-12")]


@pytest.mark.parametrize(("one", "twin"), PAIRS)
def test_a_serial_number(hospital: Hospital, one: str, twin: str) -> None:
    a_device(hospital.odile, hospital.model, one, hospital.theatre)
    with check_refused(SerialTaken):
        register_device(
            device_model=hospital.model, serial=twin, tag=None, area=hospital.theatre, from_on=JANUARY,
            actor=hospital.odile, at=AT,
        )  # fmt: skip
    first = DeviceIdentity.objects.get(device=hospital.device).pk
    with check_refused(SerialTaken):
        correct_identity(
            wrong=first, device_model=hospital.model, serial=twin, reason="Misread.", actor=hospital.odile, at=AT
        )


def test_a_device_keeps_its_own_number_in_other_letters(hospital: Hospital) -> None:
    first = DeviceIdentity.objects.get(device=hospital.device).pk
    correct_identity(
        wrong=first, device_model=hospital.model, serial="om-1", reason="Misread.", actor=hospital.odile, at=AT
    )
    assert DeviceIdentity.objects.current().get(device=hospital.device).serial == "om-1"


@pytest.mark.parametrize(("one", "twin"), PAIRS)
def test_a_tag(hospital: Hospital, one: str, twin: str) -> None:
    set_tag(device=hospital.device, tag=one, from_on=AT.date(), actor=hospital.odile, at=AT)
    other = a_device(hospital.odile, hospital.model, "OM-2", hospital.theatre)
    with check_refused(TagTaken):
        set_tag(device=other, tag=twin, from_on=AT.date(), actor=hospital.odile, at=AT)


@pytest.mark.parametrize(("one", "twin"), PAIRS)
def test_what_the_catalogue_lists(hospital: Hospital, one: str, twin: str) -> None:
    on = {"from_on": JANUARY, "actor": hospital.odile, "at": AT}
    model = {"device_class": hospital.table, "energy_sources": [EnergySource.MAINS], **on}
    register_class(name=one, **on)  # type: ignore[arg-type]
    register_model(maker=one, name=one, **model)  # type: ignore[arg-type]
    register_revision(device_model=hospital.model, label=one, **on)  # type: ignore[arg-type]
    with check_refused(AlreadyListed):
        register_class(name=twin, **on)  # type: ignore[arg-type]
    with check_refused(AlreadyListed):
        register_model(maker=twin, name=twin, **model)  # type: ignore[arg-type]
    with check_refused(AlreadyListed):
        register_revision(device_model=hospital.model, label=twin, **on)  # type: ignore[arg-type]


def test_the_label_of_a_site(hospital: Hospital) -> None:
    with check_refused(LabelTaken):
        open_site(label="ag", name="Another", time_zone="Europe/London", from_on=JANUARY, actor=hospital.wim, at=AT)
