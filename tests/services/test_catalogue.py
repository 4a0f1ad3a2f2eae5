"""Classes, models and revisions, each listed once."""

from typing import Any

import pytest

from pmcore.engines.vocabulary import EnergySource
from pmcore.models import ClassDetails, ModelDetails, RevisionDetails
from pmcore.queries.columns import BadValue
from pmcore.services.catalogue import AlreadyListed, register_class, register_model, register_revision
from pmcore.services.refusals import UnknownReference
from tests.cast import AT, JANUARY, Hospital, check_refused

pytestmark = pytest.mark.django_db


@pytest.fixture
def by_odile(hospital: Hospital) -> dict[str, Any]:
    return {"from_on": JANUARY, "actor": hospital.odile, "at": AT}


def test_a_class_a_model_and_a_revision_are_listed(by_odile: dict[str, Any]) -> None:
    lift = register_class(name="Patient lift", product_code="ZZZ", **by_odile).subject
    sources = [EnergySource.BATTERY]
    model = register_model(
        maker="Pellimar", name="Sedge", device_class=lift, energy_sources=sources, **by_odile
    ).subject
    revision = register_revision(device_model=model, label="C", **by_odile).subject
    assert ClassDetails.objects.current().get(device_class=lift).life_support is None
    details = ModelDetails.objects.current().get(device_model=model)
    assert (details.mains, details.battery, details.manual) == (False, True, False)
    assert RevisionDetails.objects.current().get(revision=revision).revision.device_model_id == model


def test_a_class_is_listed_once_however_it_is_written(by_odile: dict[str, Any]) -> None:
    with check_refused(AlreadyListed):
        register_class(name="SURGICAL TABLE", **by_odile)


def test_a_model_of_one_maker_is_listed_once(hospital: Hospital, by_odile: dict[str, Any]) -> None:
    asked = {"device_class": hospital.table, "energy_sources": [EnergySource.MAINS], **by_odile}
    with check_refused(AlreadyListed):
        register_model(maker="Orvane", name="marl", **asked)
    assert register_model(maker="Pellimar", name="Marl", **asked).seq


def test_a_revision_of_one_model_is_listed_once(hospital: Hospital, by_odile: dict[str, Any]) -> None:
    register_revision(device_model=hospital.model, label="B", **by_odile)
    with check_refused(AlreadyListed):
        register_revision(device_model=hospital.model, label="b", **by_odile)


def test_what_makes_no_sense_is_refused(hospital: Hospital, by_odile: dict[str, Any]) -> None:
    with check_refused(BadValue):
        register_class(name="A\x00", **by_odile)
    with check_refused(BadValue):
        register_revision(device_model=hospital.model, label="", **by_odile)
    with check_refused(UnknownReference):
        register_model(maker="Orvane", name="Chert", device_class=404, energy_sources=[], **by_odile)
    with check_refused(UnknownReference):
        register_revision(device_model=404, label="B", **by_odile)
