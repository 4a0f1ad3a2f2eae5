"""Whom an alert is for: the people who hold a role at a site on its day, and who was given the work."""

import datetime as dt
from collections import defaultdict
from collections.abc import Collection, Mapping

from pmcore.engines.vocabulary import Role
from pmcore.models import Account, PersonDetails, RoleHeld, SiteMembership

Holders = Mapping[tuple[int, Role], frozenset[int]]
"""By site and role, the people."""

_ANSWERS_FOR_ALL = (Role.MANAGER, Role.ADMINISTRATOR)


def holders(sites: Collection[int], *, on: dt.date, known: int) -> Holders:
    """Who holds which role at these sites on the day: two statements."""
    members = SiteMembership.objects.known(known).on(on).filter(site__in=sites, member=True)
    held = RoleHeld.objects.known(known).on(on).filter(role__isnull=False).values_list("person_id", "role")
    roles = {person: Role(role or "") for person, role in held}
    found: dict[tuple[int, Role], set[int]] = defaultdict(set)
    for person, site in members.values_list("person_id", "site_id"):
        if person in roles:
            found[site, roles[person]].add(person)
    return {key: frozenset(people) for key, people in found.items()}


def told(roles: Collection[Role], site: int, there: Holders, given: Collection[int]) -> frozenset[int]:
    """The people of a step: in a technician's place whoever was given the work. Where nobody holds any of the roles,
    the site's managers are told instead, and where there are none its administrators."""
    people: set[int] = set()
    for role in roles:
        people |= set(given) if role is Role.TECHNICIAN and given else there.get((site, role), frozenset())
    for role in _ANSWERS_FOR_ALL:
        people = people or set(there.get((site, role), ()))
    return frozenset(people)


def address_of(person: int, *, on: dt.date) -> str | None:
    """Where a person's letters go, as known now: the address in the record, else that of their account, if it is in
    use."""
    said = PersonDetails.objects.current().on(on).filter(person=person).values_list("email__words", flat=True).first()
    if said:
        return str(said)
    account = Account.objects.filter(person_id=person, is_active=True).values_list("email", flat=True).first()
    return account or None
