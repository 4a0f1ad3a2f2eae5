"""Who can be given work at the sites, and how much each of them has on each day."""

import datetime as dt
from collections import defaultdict
from collections.abc import Collection, Mapping
from dataclasses import dataclass

import numpy as np

from pmcore.engines.due_status import STATES, states_on
from pmcore.engines.records import Actor
from pmcore.engines.vocabulary import Half, Role
from pmcore.models import DueInspection, ProcedureSheet, RoleHeld, SiteMembership, VersionApproval
from pmcore.queries.asked import check_known, sites_allowed
from pmcore.queries.assigned import assigned_between, names_of
from pmcore.queries.due_list import TO_DO
from pmcore.queries.read_standings import standings_for
from pmcore.queries.standing_catalogue import catalogue

HANDS = (Role.TECHNICIAN, Role.PROVIDER)


@dataclass(frozen=True, slots=True)
class HalfDay:
    """What is left to do then; `half` None: at any time of the day. `minutes` by the sheets in use."""

    on: dt.date
    half: Half | None
    inspections: int
    minutes: int


@dataclass(frozen=True, slots=True)
class PersonLoad:
    """`sites`: those of the question at which the person works. `halves` in order of time, empty ones left out."""

    person: int
    name: str
    role: Role
    sites: frozenset[int]
    halves: tuple[HalfDay, ...]

    @property
    def inspections(self) -> int:
        return sum(half.inspections for half in self.halves)

    def on(self, day: dt.date) -> tuple[int, int]:
        """Inspections and minutes of a day."""
        of_day = [half for half in self.halves if half.on == day]
        return sum(half.inspections for half in of_day), sum(half.minutes for half in of_day)


def workload(
    sites: frozenset[int] | None, starts_on: dt.date, ends_on: dt.date, *, as_of: dt.date, known: int, actor: Actor
) -> list[PersonLoad]:
    """Technicians and providers who work at one of the sites on `as_of`, by name; a provider sees only themselves. A
    fixed number of statements. Raises KnownBeyond, OutsideYourSites."""
    check_known(known)
    people = _hands(sites_allowed(actor, sites), as_of, known)
    if actor.role is Role.PROVIDER:
        people = {person: found for person, found in people.items() if person == actor.person}
    given = assigned_between(people, starts_on, ends_on, as_of=as_of, known=known)
    minutes = _minutes_left({each.due_inspection for each in given}, as_of, known)
    halves: dict[int, dict[tuple[dt.date, Half | None], list[int]]] = defaultdict(lambda: defaultdict(list))
    for each in given:
        if each.on is not None and each.due_inspection in minutes:
            halves[each.person][each.on, each.half].append(minutes[each.due_inspection])
    names = names_of(people, known)
    loads = [
        PersonLoad(person, names.get(person, ""), role, at, _in_order(halves[person]))
        for person, (role, at) in people.items()
    ]
    return sorted(loads, key=lambda load: (load.name, load.person))


def hands_at(sites: frozenset[int] | None, *, as_of: dt.date, known: int, actor: Actor) -> list[tuple[int, str]]:
    """The same people without their work: id and name, by name. Three statements. Raises KnownBeyond,
    OutsideYourSites."""
    check_known(known)
    names = names_of(_hands(sites_allowed(actor, sites), as_of, known), known)
    return sorted(names.items(), key=lambda each: (each[1], each[0]))


def _in_order(halves: Mapping[tuple[dt.date, Half | None], list[int]]) -> tuple[HalfDay, ...]:
    ordered = sorted(halves.items(), key=lambda each: (each[0][0], each[0][1] or ""))
    return tuple(HalfDay(on, half, len(minutes), sum(minutes)) for (on, half), minutes in ordered)


def _hands(sites: frozenset[int] | None, as_of: dt.date, known: int) -> dict[int, tuple[Role, frozenset[int]]]:
    roles = RoleHeld.objects.known(known).on(as_of).filter(role__in=HANDS)
    members = SiteMembership.objects.known(known).on(as_of).filter(member=True).values_list("person_id", "site_id")
    at: dict[int, set[int]] = defaultdict(set)
    for person, site in members:
        if sites is None or site in sites:
            at[person].add(site)
    held = {person: role for person, role in roles.values_list("person_id", "role") if role is not None}
    return {person: (Role(role), frozenset(at[person])) for person, role in held.items() if at[person]}


def _minutes_left(dues: Collection[int], as_of: dt.date, known: int) -> dict[int, int]:
    """Of those that are still to be done."""
    found = standings_for(dues, catalogue=catalogue(known))
    left = np.isin(states_on(found, as_of), [STATES.index(state) for state in TO_DO])
    wanted = set(found.due_inspection[left].tolist())
    takes = _minutes_by_procedure(as_of, known)
    asks = DueInspection.objects.filter(pk__among=wanted).values_list("pk", "procedure_id")
    return {due: takes.get(procedure, 0) for due, procedure in asks}


def _minutes_by_procedure(as_of: dt.date, known: int) -> dict[int, int]:
    """By the newest approved version of each."""
    approved = VersionApproval.objects.known(known).on(as_of).filter(approved=True)
    versions = set(approved.values_list("version_id", flat=True))
    sheets = ProcedureSheet.objects.known(known).order_by("version__number")
    rows = sheets.values_list("version__procedure_id", "version_id", "minutes")
    return {procedure: minutes for procedure, version, minutes in rows if version in versions}
