"""Sites, people and the catalogue: who may open them, and what is refused."""

import datetime as dt
from typing import Any

import pytest

from pmcore.engines.records import SYSTEM
from pmcore.engines.vocabulary import AreaKind, EnergySource, Role
from pmcore.models import ModelDetails, RoleHeld, SiteDetails, SiteHoliday, SiteMembership
from pmcore.queries.columns import BadValue
from pmcore.queries.head import head
from pmcore.services.catalogue import register_class, register_model, register_revision
from pmcore.services.people import NoRoleOfPeople, give_role, register_person, register_provider, set_membership
from pmcore.services.refusals import NotAllowed, WrongSite
from pmcore.services.sites import BadWeek, LabelTaken, UnknownZone, open_area, open_site, set_holidays
from tests.cast import AT, JANUARY, Hospital, a_hospital
from tests.history import MARCH

pytestmark = pytest.mark.django_db

BY_THE_OFFICE: dict[str, Any] = {"from_on": JANUARY, "actor": SYSTEM, "at": AT}


@pytest.fixture
def hospital() -> Hospital:
    return a_hospital()


@pytest.mark.parametrize(
    ("changed", "error"),
    [
        ({"time_zone": "Europe/Alderwick"}, UnknownZone),
        ({"working": "12"}, BadWeek),
        ({"working": "11111xx"}, BadWeek),
        ({"label": "AG"}, LabelTaken),
        ({"name": ""}, BadValue),
        ({"label": "x" * 21}, BadValue),
    ],
)
def test_a_site_that_makes_no_sense_is_refused(
    hospital: Hospital, changed: dict[str, str], error: type[Exception]
) -> None:
    size = head().size
    asked = {"label": "FL", "name": "Fallow Lane", "time_zone": "Europe/London", **changed}
    with pytest.raises(error):
        open_site(**asked, **BY_THE_OFFICE)
    assert head().size == size
    assert SiteDetails.objects.count() == 2


def test_only_the_office_opens_sites_and_registers_people(hospital: Hospital) -> None:
    by_odile = {**BY_THE_OFFICE, "actor": hospital.odile}
    with pytest.raises(NotAllowed, match="A manager may not open a site"):
        open_site(label="FL", name="Fallow Lane", time_zone="Europe/London", **by_odile)
    with pytest.raises(NotAllowed):
        register_person(name="Nobody Yet", role=Role.MANAGER, sites=[], **by_odile)


def test_an_area_is_opened_at_ones_own_site(hospital: Hospital) -> None:
    odile_at_one = type(hospital.odile)(hospital.odile.person, Role.MANAGER, frozenset({hospital.alderwick}))
    with pytest.raises(WrongSite):
        open_area(site=hospital.stennet, name="Store", kind=AreaKind.STORE, from_on=JANUARY, actor=odile_at_one, at=AT)


def test_holidays_are_facts_of_their_days(hospital: Hospital) -> None:
    days = {dt.date(2026, 12, 25): "Christmas Day", dt.date(2026, 12, 28): "Boxing Day, in lieu"}
    set_holidays(site=hospital.alderwick, days=days, actor=hospital.odile, at=AT)
    assert dict(SiteHoliday.objects.current().values_list("from_on", "name")) == days


def test_roles_and_memberships_change_from_a_day_on(hospital: Hospital) -> None:
    ruan = hospital.ruan.person
    assert ruan is not None
    give_role(person=ruan, role=Role.SCHEDULER, from_on=MARCH, actor=SYSTEM, at=AT)
    set_membership(person=ruan, site=hospital.alderwick, member=False, from_on=MARCH, actor=SYSTEM, at=AT)
    role = RoleHeld.objects.current().filter(person=ruan)
    member = SiteMembership.objects.current().filter(person=ruan)
    assert (role.on(JANUARY).get().role, role.on(MARCH).get().role) == ("technician", "scheduler")
    assert (member.on(JANUARY).get().member, member.on(MARCH).get().member) == (True, False)


def test_nobody_acts_as_the_service_itself() -> None:
    with pytest.raises(NoRoleOfPeople):
        register_person(name="A Machine", role=Role.SYSTEM, sites=[], **BY_THE_OFFICE)


def test_providers_and_the_catalogue_are_registered(hospital: Hospital) -> None:
    register_provider(name="Halden Cove Services", **BY_THE_OFFICE)
    lift = register_class(name="Patient lift", life_support=False, **BY_THE_OFFICE).subject
    model = register_model(
        maker="Pellimar", name="Sedge", device_class=lift, energy_sources=[EnergySource.BATTERY], **BY_THE_OFFICE
    ).subject
    register_revision(device_model=model, label="C", **BY_THE_OFFICE)
    details = ModelDetails.objects.current().get(device_model=model)
    assert (details.mains, details.battery, details.manual) == (False, True, False)
