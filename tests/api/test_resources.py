"""Each resource tells what its query tells."""

import datetime as dt

import pytest

from pmcore.engines.vocabulary import EnergySource, Role
from pmcore.queries.head import head
from pmcore.services.catalogue import register_revision
from pmcore.services.devices import move_device
from tests.api.asking import by_token
from tests.cast import AT, JANUARY, a_device, a_hospital, a_person, a_plan, a_procedure

pytestmark = pytest.mark.django_db


@pytest.fixture
def hospital():
    return a_hospital()


@pytest.fixture
def auditor(hospital):
    return by_token(a_person("Ines Kaldervik", Role.AUDITOR, hospital.alderwick, hospital.stennet))


def results(asker, path, **parameters):
    return asker.get(path, **parameters)["results"]


def test_sites(hospital, auditor):
    assert auditor.get("sites/") == {
        "results": [
            {"site": hospital.alderwick, "label": "AG", "name": "Alderwick General", "time_zone": "Europe/London"},
            {"site": hospital.stennet, "label": "SP", "name": "Stennet Point", "time_zone": "Europe/London"},
        ],
        "next": None,
        "as_of": "2026-10-31",
        "known": head().size,
    }


def test_only_ones_own_sites_areas_and_devices(hospital):
    ruan = by_token(hospital.ruan)
    away = a_device(hospital.wim, hospital.model, "OM-2", hospital.ward)
    assert [each["site"] for each in results(ruan, "sites/")] == [hospital.alderwick]
    assert [each["area"] for each in results(ruan, "areas/")] == [hospital.theatre]
    assert [each["device"] for each in results(ruan, "devices/")] == [hospital.device]
    ruan.get(f"devices/{away}/", status=404)
    ruan.get("devices/", site=hospital.stennet, status=403)
    ruan.get("areas/", site=hospital.stennet, status=403)


def test_areas(hospital, auditor):
    ward = {"area": hospital.ward, "site": hospital.stennet, "name": "Ward 6", "kind": "ward", "closed": False}
    assert results(auditor, "areas/", site=hospital.stennet) == [ward]
    assert [each["area"] for each in results(auditor, "areas/")] == [hospital.theatre, hospital.ward]


def test_device_classes(hospital, auditor):
    assert results(auditor, "device-classes/") == [
        {
            "device_class": hospital.table,
            "name": "Surgical table",
            "product_code": None,
            "regulation": None,
            "life_support": None,
            "risk_class": "other",
        }
    ]


def test_device_models(hospital, auditor):
    revision = register_revision(device_model=hospital.model, label="B", from_on=JANUARY, actor=hospital.odile, at=AT)
    marl = {
        "device_model": hospital.model,
        "maker": "Orvane",
        "name": "Marl",
        "device_class": hospital.table,
        "energy_sources": [EnergySource.MAINS, EnergySource.BATTERY],
        "revisions": [{"id": revision.subject, "name": "B"}],
    }
    assert results(auditor, "device-models/", device_class=hospital.table) == [marl]
    assert results(auditor, "device-models/", device_class=hospital.table + 1) == []


def test_devices(hospital, auditor):
    marl = {
        "device": hospital.device,
        "tag": "T-0001",
        "serial": "OM-1",
        "maker": "Orvane",
        "model": {"id": hospital.model, "name": "Marl"},
        "revision": None,
        "device_class": {"id": hospital.table, "name": "Surgical table"},
        "site": {"id": hospital.alderwick, "name": "Alderwick General"},
        "area": {"id": hospital.theatre, "name": "Theatre 1"},
        "ownership": "owned",
        "state": "in_service",
        "held": False,
        "risk_class": "other",
    }
    assert results(auditor, "devices/", words="marl t-0001", state="in_service,stored") == [marl]
    assert results(auditor, "devices/", words="sedge") == []
    one = auditor.get(f"devices/{hospital.device}/")
    assert one == {**marl, "as_of": "2026-10-31", "known": head().size}


def test_as_of_a_day_and_as_known(hospital, auditor):
    size = head().size
    move_device(device=hospital.device, area=hospital.ward, from_on=dt.date(2026, 10, 2), actor=hospital.odile, at=AT)
    path = f"devices/{hospital.device}/"
    assert auditor.get(path)["area"]["name"] == "Ward 6"
    assert auditor.get(path, as_of="2026-10-01")["area"]["name"] == "Theatre 1"
    assert auditor.get(path, known=size)["area"]["name"] == "Theatre 1"
    assert [each["area"]["name"] for each in results(auditor, "devices/", as_of="2026-10-01")] == ["Theatre 1"]


def test_procedures(hospital, auditor):
    procedure, draft = a_procedure(hospital.odile), a_procedure(hospital.odile, "New check", approved=False)
    assert results(auditor, "procedures/") == [
        {"procedure": procedure, "name": "Yearly check", "withdrawn": False, "version_in_use": 1},
        {"procedure": draft, "name": "New check", "withdrawn": False, "version_in_use": None},
    ]


def test_one_procedure_with_versions_and_steps(hospital, auditor):
    procedure = a_procedure(hospital.odile)
    found = auditor.get(f"procedures/{procedure}/")
    (version,) = found.pop("versions")
    assert found == {
        "procedure": procedure,
        "name": "Yearly check",
        "withdrawn": False,
        "as_of": "2026-10-31",
        "known": head().size,
    }
    (step,) = version.pop("steps")
    assert version["number"] == 1
    assert (version["approved_from_on"], version["approved_by"]) == ("2026-01-01", hospital.odile.person)
    assert (step["key"], step["kind"], step["prompt"]) == ("frame", "look", "Is the frame free of cracks?")
    assert auditor.get(f"procedures/{procedure}/", as_of="2026-01-01")["versions"][0]["approved_from_on"]
    auditor.get(f"procedures/{hospital.device}/", status=404)


def test_inspection_plans(hospital, auditor):
    procedure = a_procedure(hospital.odile)
    plan = a_plan(hospital.odile, procedure, device_class=hospital.table, anchor_on=dt.date(2026, 6, 15))
    (found,) = results(auditor, "inspection-plans/", procedure=procedure, basis="maker")
    assert found == {
        "plan": plan,
        "name": "Tables, yearly",
        "device_class": hospital.table,
        "device_model": None,
        "device": None,
        "procedure": procedure,
        "every": 12,
        "unit": "month",
        "counts_from": "anchored",
        "anchor_on": "2026-06-15",
        "window": "days",
        "window_before": 30,
        "window_after": 30,
        "usage_limit": None,
        "usage_unit": None,
        "basis": "maker",
        "basis_note": None,
        "from_on": "2026-10-31",
        "ended": False,
        "approved_by": hospital.odile.person,
        "second_signature": None,
    }
    assert results(auditor, "inspection-plans/", basis="regulation") == []
    assert results(auditor, "inspection-plans/", as_of="2026-10-30") == []
