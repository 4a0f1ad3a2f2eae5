"""People, their roles and sites, and the firms from outside."""

import datetime as dt
from typing import Any

import pytest

from pmcore.engines.records import SYSTEM
from pmcore.engines.vocabulary import Role
from pmcore.models import PersonDetails, RoleHeld, SiteMembership, SkillHeld
from pmcore.queries.columns import BadValue
from pmcore.services.people import NoRoleOfPeople, give_role, register_person, register_provider, set_membership
from pmcore.services.refusals import Conflict, UnknownReference
from tests.cast import AT, JANUARY, a_hospital, a_site, check_refused
from tests.history import MARCH

pytestmark = pytest.mark.django_db

BY_THE_OFFICE: dict[str, Any] = {"actor": SYSTEM, "at": AT}


def test_a_person_comes_with_a_role_sites_and_a_firm() -> None:
    site = a_site("AG", "Alderwick General")
    firm = register_provider(name="Halden Cove Services", from_on=JANUARY, **BY_THE_OFFICE).subject
    person = register_person(
        name="Ines Caddock", role=Role.PROVIDER, sites=[site], provider=firm, from_on=JANUARY, **BY_THE_OFFICE
    ).subject
    assert PersonDetails.objects.current().get(person=person).provider_id == firm
    assert RoleHeld.objects.current().on(JANUARY).get(person=person).role == "provider"
    assert SiteMembership.objects.current().on(JANUARY).get(person=person).site_id == site


def test_a_person_comes_with_what_they_are_trained_for() -> None:
    skills = ["patient lifts", "surgical tables"]
    person = register_person(
        name="Ines Caddock", role=Role.TECHNICIAN, sites=[], skills=skills, from_on=MARCH, **BY_THE_OFFICE
    ).subject
    held = SkillHeld.objects.current().filter(person=person, held=True)
    assert sorted(held.on(MARCH).values_list("skill", flat=True)) == skills
    assert not held.on(MARCH - dt.timedelta(days=1)).exists()


@pytest.mark.parametrize(
    ("changed", "error"),
    [
        ({"skills": [""]}, BadValue),
        ({"skills": ["patient lifts", "patient lifts"]}, Conflict),
        ({"name": " "}, BadValue),
        ({"role": "king"}, BadValue),
        ({"role": Role.SYSTEM}, NoRoleOfPeople),
        ({"sites": [404]}, UnknownReference),
        ({"provider": 404}, UnknownReference),
    ],
)
def test_a_person_who_makes_no_sense_is_refused(changed: dict[str, Any], error: type[Exception]) -> None:
    asked = {"name": "Ines Caddock", "role": Role.TECHNICIAN, "sites": [], "from_on": JANUARY, **changed}
    with check_refused(error):
        register_person(**asked, **BY_THE_OFFICE)


def test_the_same_site_twice_is_refused() -> None:
    site = a_site("AG", "Alderwick General")
    with check_refused(Conflict, "sitemembership"):
        register_person(name="Ines", role=Role.MANAGER, sites=[site, site], from_on=JANUARY, **BY_THE_OFFICE)


def test_roles_and_memberships_change_from_a_day_on() -> None:
    hospital = a_hospital()
    ruan = hospital.ruan.person
    assert ruan is not None
    give_role(person=ruan, role=Role.SCHEDULER, from_on=MARCH, **BY_THE_OFFICE)
    set_membership(person=ruan, site=hospital.alderwick, member=False, from_on=MARCH, **BY_THE_OFFICE)
    role, member = RoleHeld.objects.current().filter(person=ruan), SiteMembership.objects.current().filter(person=ruan)
    before = MARCH - dt.timedelta(days=1)
    assert (role.on(before).get().role, role.on(MARCH).get().role) == ("technician", "scheduler")
    assert (member.on(before).get().member, member.on(MARCH).get().member) == (True, False)


def test_one_role_a_day() -> None:
    ruan = a_hospital().ruan.person
    assert ruan is not None
    with check_refused(Conflict, "roleheld_once_a_day"):
        give_role(person=ruan, role=Role.SCHEDULER, from_on=JANUARY, **BY_THE_OFFICE)


def test_nobody_is_made_the_service_itself() -> None:
    ruan = a_hospital().ruan.person
    assert ruan is not None
    with check_refused(NoRoleOfPeople):
        give_role(person=ruan, role=Role.SYSTEM, from_on=MARCH, **BY_THE_OFFICE)
