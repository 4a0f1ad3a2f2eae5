"""The role and the sites of whoever has an account, changed from a day on. Both are facts about the person; that an
administrator's account opens the admin follows from the role."""

import datetime as dt
from collections.abc import Collection
from typing import Any

from pmcore.engines.records import Actor
from pmcore.engines.vocabulary import Role
from pmcore.models import Account, RoleHeld, Site, SiteMembership
from pmcore.models.base import Fact
from pmcore.models.rows import Row
from pmcore.services.account_states import check_not_last
from pmcore.services.accounts import UnknownAccount
from pmcore.services.append import append
from pmcore.services.people import check_role_of_people
from pmcore.services.permissions import use_case
from pmcore.services.refusals import RecordRefused, UnknownReference
from pmcore.services.requests import Receipt, Request

_SAID_ANEW = "Said anew for the same day."


class DayIsPast(RecordRefused):
    """What somebody could do yesterday is past: a change begins today or later."""


class AlreadySo(RecordRefused):
    """The record says the same from that day on."""


class AdministratorFromToday(RecordRefused):
    """An administrator's role begins and ends on the day it is given or taken, since the admin opens and closes with
    it."""


@use_case("give a role", "role_given")
def change_role(
    *,
    account: int,
    role: Role | None,
    from_on: dt.date,
    actor: Actor,
    at: dt.datetime,
    request: Request | None = None,
) -> Receipt:
    """The role that the person of the account acts in from a day on, today at the earliest; none ends it. What was said
    for the same day before is put right by it.

    Raises UnknownAccount, NoRoleOfPeople, DayIsPast, AlreadySo, AdministratorFromToday, LastAdministrator, NotAllowed.
    """
    check_role_of_people(role)
    person, today = person_of(account), at.date()
    _check_day(from_on, today)
    said = {each.from_on: each for each in RoleHeld.objects.current().filter(person=person).order_by("from_on", "id")}
    roles = {day: each.role for day, each in said.items()}
    if _in_force(roles, from_on) == role:
        raise AlreadySo("That is the role on this day already.")
    roles[from_on] = role
    is_one = _is_administrator(roles, today)
    if not is_one:
        check_not_last(account, today)
    row = Row(RoleHeld, person=person, from_on=from_on, role=role)
    wrong = [said[from_on]] if from_on in said else []
    receipt = say_anew("role_given", person, [row], wrong, actor=actor, at=at, request=request)
    Account.objects.filter(pk=account).update(is_staff=is_one, is_superuser=is_one)
    return receipt


@use_case("set a membership", "membership_set")
def change_sites(
    *,
    account: int,
    sites: Collection[int],
    from_on: dt.date,
    actor: Actor,
    at: dt.datetime,
    request: Request | None = None,
) -> Receipt:
    """The sites where the person of the account acts from a day on, today at the earliest, and no others. What was said
    for the same day before is put right by it. Raises UnknownAccount, UnknownReference, DayIsPast, AlreadySo,
    NotAllowed."""
    person = person_of(account)
    _check_day(from_on, at.date())
    unknown = set(sites) - set(Site.objects.filter(pk__in=sites).values_list("pk", flat=True))
    if unknown:
        raise UnknownReference("site", sorted(unknown))
    facts = SiteMembership.objects.current().filter(person=person)
    member = dict(facts.on(from_on).values_list("site_id", "member"))
    changed = {site: site in sites for site in {*sites, *member} if (site in sites) != member.get(site, False)}
    if not changed:
        raise AlreadySo("Those are the sites on this day already.")
    rows = [Row(SiteMembership, person=person, site=site, from_on=from_on, member=changed[site]) for site in changed]
    wrong = list(facts.filter(from_on=from_on, site__in=changed))
    return say_anew("membership_set", person, rows, wrong, actor=actor, at=at, request=request)


def say_anew(kind: str, person: int, rows: list[Row], wrong: list[Any], **by: Any) -> Receipt:
    """`wrong`: what was said for the same day before, and is put right."""
    replaced: list[Fact] = wrong
    return append(kind, person, rows, replaces=replaced, note=_SAID_ANEW if replaced else None, **by)


def person_of(account: int) -> int:
    """Raises UnknownAccount."""
    person = Account.objects.filter(pk=account).values_list("person_id", flat=True).first()
    if person is None:
        raise UnknownAccount(f"The account {account} is nobody's of the record.")
    return person


def _check_day(from_on: dt.date, today: dt.date) -> None:
    if from_on < today:
        raise DayIsPast(f"A change begins on {today} or later: what somebody could do before is past.")


def _in_force(roles: dict[dt.date, str | None], on: dt.date) -> str | None:
    begun = [day for day in roles if day <= on]
    return roles[max(begun)] if begun else None


def _is_administrator(roles: dict[dt.date, str | None], today: dt.date) -> bool:
    """Today, and on every later day that the record speaks of. Raises AdministratorFromToday."""
    found = {role == Role.ADMINISTRATOR for day, role in roles.items() if day > today}
    found.add(_in_force(roles, today) == Role.ADMINISTRATOR)
    if len(found) > 1:
        raise AdministratorFromToday(
            "An administrator's role begins and ends today: choose today, or change first what is said for later days."
        )
    return found.pop()
