"""Role and sites from a day on, today at the earliest; an administrator's account opens the admin and no other does."""

import datetime as dt
from typing import Any

import pytest

from pmcore.engines.records import SYSTEM, Actor
from pmcore.engines.vocabulary import Role
from pmcore.models import Account, RoleHeld, SiteMembership
from pmcore.queries.actors import NoRole, actor_of
from pmcore.queries.verification import verify
from pmcore.services.account_roles import AdministratorFromToday, AlreadySo, DayIsPast, change_role, change_sites
from pmcore.services.account_states import LastAdministrator
from pmcore.services.accounts import UnknownAccount
from pmcore.services.people import NoRoleOfPeople, give_role
from pmcore.services.refusals import NotAllowed, UnknownReference
from pmcore.services.requests import Request
from tests.cast import AT, Hospital, check_refused
from tests.services.test_account_states import account_of, an_administrator

pytestmark = pytest.mark.django_db

TODAY = AT.date()
TOMORROW = TODAY + dt.timedelta(days=1)
DECEMBER = dt.date(2026, 12, 1)


def change(hospital: Hospital, role: Role | None, from_on: dt.date = TODAY, **changed: Any) -> None:
    account = account_of(hospital.ruan).pk
    asked = {"account": account, "role": role, "from_on": from_on, "actor": hospital.wim, "at": AT}
    change_role(**{**asked, **changed})


def flags(account: Account) -> tuple[bool, bool]:
    account.refresh_from_db()
    return account.is_staff, account.is_superuser


def test_another_role_counts_from_its_day_on(hospital: Hospital) -> None:
    change(hospital, Role.SCHEDULER, DECEMBER)
    account = account_of(hospital.ruan).pk
    assert actor_of(account, on=DECEMBER - dt.timedelta(days=1)).role == Role.TECHNICIAN
    assert actor_of(account, on=DECEMBER).role == Role.SCHEDULER


def test_what_was_said_for_the_same_day_is_put_right(hospital: Hospital) -> None:
    change(hospital, Role.MANAGER)
    change(hospital, Role.SCHEDULER)
    assert actor_of(account_of(hospital.ruan).pk, on=TODAY).role == Role.SCHEDULER
    held = RoleHeld.objects.filter(person=hospital.ruan.person, from_on=TODAY).order_by("pk")
    assert [(each.role, each.replaced_by is None) for each in held] == [("manager", False), ("scheduler", True)]
    assert verify().sound


def test_no_role_ends_it(hospital: Hospital) -> None:
    change(hospital, None)
    with pytest.raises(NoRole):
        actor_of(account_of(hospital.ruan).pk, on=TODAY)


def test_the_same_request_changes_it_once(hospital: Hospital) -> None:
    request = Request.of("k1", {})
    for _ in range(2):
        change(hospital, Role.SCHEDULER, request=request)
    assert RoleHeld.objects.filter(person=hospital.ruan.person).count() == 2


@pytest.mark.parametrize(
    ("changed", "error"),
    [
        ({"from_on": TODAY - dt.timedelta(days=1)}, DayIsPast),
        ({"role": Role.TECHNICIAN}, AlreadySo),
        ({"role": Role.SYSTEM}, NoRoleOfPeople),
        ({"role": Role.ADMINISTRATOR, "from_on": TOMORROW}, AdministratorFromToday),
        ({"account": 404}, UnknownAccount),
        ({"actor": SYSTEM, "account": 404}, UnknownAccount),
    ],
)
def test_what_makes_no_sense_is_refused(hospital: Hospital, changed: dict[str, Any], error: type[Exception]) -> None:
    account_of(hospital.ruan)
    with check_refused(error):
        change(hospital, **{"role": Role.SCHEDULER, **changed})


def test_the_admin_opens_and_closes_with_the_role(hospital: Hospital) -> None:
    _, other = an_administrator("Ada Quill-Moor")
    account = account_of(hospital.ruan)
    change(hospital, Role.ADMINISTRATOR)
    assert flags(account) == (True, True)
    change(hospital, Role.TECHNICIAN)
    assert flags(account) == (False, False)
    assert flags(other) == (False, False), "what others have is not touched"


def test_a_role_ahead_opens_no_admin_early(hospital: Hospital) -> None:
    give_role(person=hospital.ruan.person or 0, role=Role.SCHEDULER, from_on=DECEMBER, actor=SYSTEM, at=AT)
    with check_refused(AdministratorFromToday, "change first what is said for later days"):
        change(hospital, Role.ADMINISTRATOR)


def test_the_last_administrators_role_is_not_given_away(hospital: Hospital) -> None:
    _, last = an_administrator("Ada Quill-Moor")
    with check_refused(LastAdministrator):
        change(hospital, Role.MANAGER, account=last.pk)
    with check_refused(LastAdministrator):
        change(hospital, None, account=last.pk)
    an_administrator("Bo Harrow-Lint")
    change(hospital, Role.MANAGER, account=last.pk)
    assert actor_of(last.pk, on=TODAY).role == Role.MANAGER


def sites(hospital: Hospital, *wanted: int, from_on: dt.date = TODAY, actor: Actor | None = None) -> None:
    account = account_of(hospital.ruan).pk
    change_sites(account=account, sites=wanted, from_on=from_on, actor=actor or hospital.wim, at=AT)


def test_the_sites_are_those_and_no_others_in_one_entry(hospital: Hospital) -> None:
    sites(hospital, hospital.stennet, from_on=TOMORROW)
    account = account_of(hospital.ruan).pk
    assert actor_of(account, on=TODAY).sites == {hospital.alderwick}
    assert actor_of(account, on=TOMORROW).sites == {hospital.stennet}
    written = SiteMembership.objects.filter(person=hospital.ruan.person, from_on=TOMORROW)
    assert written.count() == 2
    assert written.values("entry").distinct().count() == 1


def test_the_sites_of_one_day_are_said_anew(hospital: Hospital) -> None:
    sites(hospital, hospital.stennet)
    sites(hospital, hospital.stennet, hospital.alderwick)
    sites(hospital)
    assert actor_of(account_of(hospital.ruan).pk, on=TODAY).sites == frozenset()
    assert verify().sound


def test_sites_that_make_no_sense_are_refused(hospital: Hospital) -> None:
    account_of(hospital.ruan)
    for error, wanted, options in (
        (AlreadySo, [hospital.alderwick], {}),
        (UnknownReference, [404], {}),
        (DayIsPast, [hospital.stennet], {"from_on": TODAY - dt.timedelta(days=1)}),
        (NotAllowed, [hospital.stennet], {"actor": hospital.odile}),
    ):
        with check_refused(error):
            sites(hospital, *wanted, **options)  # type: ignore[arg-type]
