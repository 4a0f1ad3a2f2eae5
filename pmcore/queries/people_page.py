"""Accounts as an administrator sees them: whose they are, what their people may do on a day, and whether they let
anybody in."""

import datetime as dt
from collections import defaultdict
from collections.abc import Collection
from dataclasses import dataclass

from django.contrib.auth.hashers import is_password_usable
from django.utils.crypto import constant_time_compare, salted_hmac

from pmcore.engines.vocabulary import Role
from pmcore.models import Account, PersonDetails, RoleHeld, SiteDetails, SiteMembership, SkillHeld


@dataclass(frozen=True, slots=True)
class RoleFrom:
    """The role from a day on; None: none."""

    from_on: dt.date
    role: Role | None


@dataclass(frozen=True, slots=True)
class SiteThere:
    site: int
    label: str
    name: str


@dataclass(frozen=True, slots=True)
class AccountListed:
    """`person` None: nobody of the record. `role`: in force on the day; `roles`: all that the record gives, the oldest
    first; `later_sites`: memberships that begin or end later. `email`: where letters go, the address in the
    record, else the account's own. `last_login_at` is of the machine's clock."""

    account: int
    username: str
    email: str
    person: int | None
    name: str
    role: Role | None
    roles: tuple[RoleFrom, ...]
    sites: tuple[SiteThere, ...]
    later_sites: tuple[tuple[dt.date, SiteThere, bool], ...]
    skills: tuple[str, ...]
    is_active: bool
    has_password: bool
    last_login_at: dt.datetime | None

    @property
    def acts(self) -> bool:
        """Whether it lets anybody do anything on the day."""
        return self.is_active and self.role is not None


def accounts_on(on: dt.date, *, only: int | None = None) -> tuple[AccountListed, ...]:
    """By name, as known now; six statements."""
    asked = Account.objects.order_by("pk") if only is None else Account.objects.filter(pk=only)
    rows = list(asked)
    people = [row.person_id for row in rows if row.person_id is not None]
    said = _said(people)
    roles = _roles(people)
    sites, later = _memberships(people, on)
    skills = _skills(people, on)
    listed = [
        AccountListed(
            account=row.pk,
            username=row.username,
            email=said.get(row.person_id or 0, ("", ""))[1] or row.email,
            person=row.person_id,
            name=said.get(row.person_id or 0, ("", ""))[0],
            role=_in_force(roles.get(row.person_id or 0, ()), on),
            roles=tuple(roles.get(row.person_id or 0, ())),
            sites=tuple(sites.get(row.person_id or 0, ())),
            later_sites=tuple(later.get(row.person_id or 0, ())),
            skills=tuple(skills.get(row.person_id or 0, ())),
            is_active=row.is_active,
            has_password=_opens(row.password),
            last_login_at=row.last_login,
        )
        for row in rows
    ]
    return tuple(sorted(listed, key=lambda each: (each.name.casefold(), each.username.casefold())))


def account_on(account: int, on: dt.date) -> AccountListed | None:
    """One of them; six statements."""
    return next(iter(accounts_on(on, only=account)), None)


def administrators_on(on: dt.date) -> frozenset[int]:
    """The accounts by which an administrator can sign in on the day; two statements."""
    held = RoleHeld.objects.current().on(on).filter(role=Role.ADMINISTRATOR)
    people = list(held.values_list("person_id", flat=True))
    rows = Account.objects.filter(person__in=people, is_active=True).values_list("pk", "password")
    return frozenset(account for account, password in rows if _opens(password))


def password_mark(account: int) -> str:
    """Says which password an account has without giving anything of it away; another one has another mark."""
    stored = Account.objects.filter(pk=account).values_list("password", flat=True).first() or ""
    return salted_hmac("password mark", f"{account} {stored}", algorithm="sha256").hexdigest()[:32]


def password_marked(account: int, mark: str) -> bool:
    return constant_time_compare(password_mark(account), mark)


def _opens(stored: str) -> bool:
    """Some password fits."""
    return bool(stored) and is_password_usable(stored)


def _said(people: Collection[int]) -> dict[int, tuple[str, str]]:
    """The name and the address in the record."""
    rows = PersonDetails.objects.current().filter(person__among=people).order_by("from_on", "id")
    found = rows.values_list("person_id", "name__words", "email__words")
    return {person: (name or "", email or "") for person, name, email in found}


def _roles(people: Collection[int]) -> dict[int, list[RoleFrom]]:
    rows = RoleHeld.objects.current().filter(person__among=people).order_by("from_on", "id")
    found: dict[int, list[RoleFrom]] = defaultdict(list)
    for person, from_on, role in rows.values_list("person_id", "from_on", "role"):
        found[person].append(RoleFrom(from_on, None if role is None else Role(role)))
    return found


def _in_force(roles: Collection[RoleFrom], on: dt.date) -> Role | None:
    role = None
    for each in roles:
        role = each.role if each.from_on <= on else role
    return role


def _memberships(
    people: Collection[int], on: dt.date
) -> tuple[dict[int, list[SiteThere]], dict[int, list[tuple[dt.date, SiteThere, bool]]]]:
    """Where each acts on the day, in the order of labels, and what changes later."""
    details = SiteDetails.objects.current().order_by("from_on", "id").values_list("site_id", "label", "name")
    there = {site: SiteThere(site, label, name) for site, label, name in details}
    rows = SiteMembership.objects.current().filter(person__among=people).order_by("from_on", "id")
    member: dict[tuple[int, int], bool] = {}
    later: dict[int, list[tuple[dt.date, SiteThere, bool]]] = defaultdict(list)
    for person, site, from_on, says in rows.values_list("person_id", "site_id", "from_on", "member"):
        if from_on <= on:
            member[person, site] = says
        else:
            later[person].append((from_on, there[site], says))
    found: dict[int, list[SiteThere]] = defaultdict(list)
    for person, site in sorted(member, key=lambda key: there[key[1]].label):
        if member[person, site]:
            found[person].append(there[site])
    return found, later


def _skills(people: Collection[int], on: dt.date) -> dict[int, list[str]]:
    rows = SkillHeld.objects.current().on(on).filter(person__among=people, held=True).order_by("skill")
    found: dict[int, list[str]] = defaultdict(list)
    for person, skill in rows.values_list("person_id", "skill"):
        found[person].append(skill)
    return found
