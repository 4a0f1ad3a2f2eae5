"""People, their roles and sites; providers."""

import datetime as dt
from collections.abc import Sequence

from pmcore.engines.records import Actor
from pmcore.engines.vocabulary import Role
from pmcore.models import Person, PersonDetails, Provider, ProviderDetails, RoleHeld, SiteMembership, SkillHeld
from pmcore.models.rows import Row
from pmcore.services.append import append
from pmcore.services.permissions import use_case
from pmcore.services.refusals import RecordRefused
from pmcore.services.requests import Receipt, Request


class NoRoleOfPeople(RecordRefused):
    """The service's own role is nobody's."""


@use_case("register a person", "person_registered")
def register_person(
    *,
    name: str,
    role: Role,
    sites: Sequence[int],
    from_on: dt.date,
    actor: Actor,
    at: dt.datetime,
    email: str | None = None,
    provider: int | None = None,
    skills: Sequence[str] = (),
    request: Request | None = None,
) -> Receipt:
    """Somebody new, with a role, the sites where they act and what they are trained for.

    Raises NoRoleOfPeople, UnknownReference, NotAllowed; Conflict for the same site or skill twice.
    """
    check_role_of_people(role)
    person = Row(Person)
    details = Row(PersonDetails, person=person, from_on=from_on, name=name, email=email, provider=provider)
    held = Row(RoleHeld, person=person, from_on=from_on, role=role)
    memberships = [Row(SiteMembership, person=person, site=site, from_on=from_on, member=True) for site in sites]
    trained = [Row(SkillHeld, person=person, skill=skill, from_on=from_on, held=True) for skill in skills]
    rows = [person, details, held, *memberships, *trained]
    return append("person_registered", person, rows, actor=actor, at=at, request=request)


@use_case("give a role", "role_given")
def give_role(
    *,
    person: int,
    role: Role | None,
    from_on: dt.date,
    actor: Actor,
    at: dt.datetime,
    request: Request | None = None,
) -> Receipt:
    """The role that a person acts in from a day on; none ends it. Raises Conflict for a second one on the same day."""
    check_role_of_people(role)
    held = Row(RoleHeld, person=person, from_on=from_on, role=role)
    return append("role_given", person, [held], actor=actor, at=at, request=request)


@use_case("set a membership", "membership_set")
def set_membership(
    *,
    person: int,
    site: int,
    member: bool,
    from_on: dt.date,
    actor: Actor,
    at: dt.datetime,
    request: Request | None = None,
) -> Receipt:
    """Whether a person acts at a site from a day on."""
    row = Row(SiteMembership, person=person, site=site, from_on=from_on, member=member)
    return append("membership_set", person, [row], actor=actor, at=at, request=request)


@use_case("register a provider", "provider_registered")
def register_provider(
    *, name: str, from_on: dt.date, actor: Actor, at: dt.datetime, request: Request | None = None
) -> Receipt:
    """An outside firm."""
    provider = Row(Provider)
    details = Row(ProviderDetails, provider=provider, from_on=from_on, name=name, approved=True)
    return append("provider_registered", provider, [provider, details], actor=actor, at=at, request=request)


def check_role_of_people(role: Role | None) -> None:
    """Raises NoRoleOfPeople."""
    if role == Role.SYSTEM:
        raise NoRoleOfPeople("No person acts as the service itself.")
