"""Accounts as the administrator's page tells them: as of a day, what comes later beside it, in few statements."""

import datetime as dt

import pytest
from pytest_django import DjangoAssertNumQueries

from pmcore.engines.records import SYSTEM
from pmcore.engines.vocabulary import Role
from pmcore.models import Account, PersonDetails
from pmcore.queries.people_page import (
    RoleFrom,
    account_on,
    accounts_on,
    administrators_on,
    password_mark,
    password_marked,
)
from pmcore.services.people import give_role, register_person, set_membership
from pmcore.services.redaction import redact_text
from tests.cast import AT, JANUARY, Hospital, a_hospital

pytestmark = pytest.mark.django_db

TODAY = AT.date()
DECEMBER = dt.date(2026, 12, 1)


@pytest.fixture
def hospital() -> Hospital:
    hospital = a_hospital()
    for name, actor in (("wim", hospital.wim), ("odile", hospital.odile), ("ruan", hospital.ruan)):
        Account.objects.create_user(name, f"{name}@quillmere.example", "heron-quartz-lantern", person_id=actor.person)
    return hospital


def test_each_is_told_with_role_sites_and_skills(hospital: Hospital) -> None:
    person = register_person(
        name="Ines Caddock", role=Role.TECHNICIAN, sites=[hospital.stennet, hospital.alderwick],
        skills=["surgical tables", "patient lifts"], from_on=JANUARY, actor=SYSTEM, at=AT,
    ).subject  # fmt: skip
    account = Account.objects.create(username="ines", person_id=person, last_login=AT)
    told = account_on(account.pk, TODAY)
    assert told is not None
    assert (told.name, told.role, told.skills) == ("Ines Caddock", "technician", ("patient lifts", "surgical tables"))
    assert [site.name for site in told.sites] == ["Alderwick General", "Stennet Point"]
    assert (told.is_active, told.has_password, told.last_login_at) == (True, False, AT)


def test_they_stand_by_name_and_one_of_nobody_by_its_user_name(hospital: Hospital) -> None:
    Account.objects.create(username="zoe")
    assert [each.username for each in accounts_on(TODAY)] == ["zoe", "odile", "ruan", "wim"]
    nobody = accounts_on(TODAY)[0]
    assert (nobody.person, nobody.name, nobody.role, nobody.roles, nobody.acts) == (None, "", None, (), False)


def test_what_changes_later_stands_apart(hospital: Hospital) -> None:
    ruan = hospital.ruan.person or 0
    give_role(person=ruan, role=Role.SCHEDULER, from_on=DECEMBER, actor=SYSTEM, at=AT)
    set_membership(person=ruan, site=hospital.stennet, member=True, from_on=DECEMBER, actor=SYSTEM, at=AT)
    set_membership(person=ruan, site=hospital.alderwick, member=False, from_on=DECEMBER, actor=SYSTEM, at=AT)
    account = Account.objects.get(username="ruan").pk
    now, then = account_on(account, TODAY), account_on(account, DECEMBER)
    assert now is not None
    assert then is not None
    assert (now.role, [site.label for site in now.sites]) == (Role.TECHNICIAN, ["AG"])
    assert [(day, site.label, member) for day, site, member in now.later_sites] == [
        (DECEMBER, "SP", True),
        (DECEMBER, "AG", False),
    ]
    assert (then.role, [site.label for site in then.sites], then.later_sites) == (Role.SCHEDULER, ["SP"], ())
    assert now.roles == then.roles == (RoleFrom(JANUARY, Role.TECHNICIAN), RoleFrom(DECEMBER, Role.SCHEDULER))


def test_a_name_that_was_taken_out_is_empty(hospital: Hospital) -> None:
    digest = PersonDetails.objects.get(person=hospital.ruan.person).name_id
    redact_text(digest=digest, reason="Asked for.", actor=SYSTEM, at=AT)
    assert next(each.name for each in accounts_on(TODAY) if each.username == "ruan") == ""


def test_an_account_that_is_not_there_is_none(hospital: Hospital) -> None:
    assert account_on(404, TODAY) is None


def test_administrators_are_those_who_can_sign_in_as_one(hospital: Hospital) -> None:
    wim = Account.objects.get(username="wim")
    assert administrators_on(TODAY) == {wim.pk}
    assert administrators_on(JANUARY - dt.timedelta(days=1)) == frozenset()
    Account.objects.filter(pk=wim.pk).update(is_active=False)
    assert administrators_on(TODAY) == frozenset()
    Account.objects.filter(pk=wim.pk).update(is_active=True, password="!unusable")
    assert administrators_on(TODAY) == frozenset()


def test_a_mark_is_of_one_password_of_one_account(hospital: Hospital) -> None:
    wim, ruan = Account.objects.get(username="wim"), Account.objects.get(username="ruan")
    mark = password_mark(wim.pk)
    assert password_marked(wim.pk, mark)
    assert not password_marked(ruan.pk, mark)
    wim.set_password("another-good-one")
    wim.save()
    assert not password_marked(wim.pk, mark)


def test_it_costs_six_statements_however_many_there_are(
    hospital: Hospital, django_assert_num_queries: DjangoAssertNumQueries
) -> None:
    with django_assert_num_queries(6):
        accounts_on(TODAY)
    for number in range(30):
        Account.objects.create(username=f"nobody{number}")
    with django_assert_num_queries(6):
        assert len(accounts_on(TODAY)) == 33
    with django_assert_num_queries(2):
        administrators_on(TODAY)
