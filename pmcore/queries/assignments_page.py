"""Who was given what, page by page."""

import datetime as dt
from collections.abc import Sequence
from dataclasses import dataclass

from pmcore.engines.records import Actor
from pmcore.engines.vocabulary import Half, Role
from pmcore.models import Assignment, Placement
from pmcore.queries.asked import OutsideYourSites, check_known, sites_allowed
from pmcore.queries.assigned import names_of


@dataclass(frozen=True, slots=True)
class AssignmentsFilter:
    """None: all of them. `on_from`, `on_to`: on which days the work is to be done."""

    people: frozenset[int] | None = None
    on_from: dt.date | None = None
    on_to: dt.date | None = None
    sites: frozenset[int] | None = None


@dataclass(frozen=True, slots=True)
class AssignmentListed:
    """That a person does a due inspection. `half`: null for any time of the day; `since_on`: the day it was said."""

    assignment: int
    due_inspection: int
    device: int
    person: int
    person_name: str
    on: dt.date | None
    half: Half | None
    since_on: dt.date


@dataclass(frozen=True, slots=True)
class AssignmentsPage:
    records: tuple[AssignmentListed, ...]
    after: int | None


def assignments_page(
    asked: AssignmentsFilter, *, as_of: dt.date, known: int, actor: Actor, after: int | None, limit: int
) -> AssignmentsPage:
    """Those in force on the day on devices that stand at the actor's sites, in order of ids; a provider's own alone.
    A fixed number of statements. Raises KnownBeyond, OutsideYourSites."""
    check_known(known)
    sites, people = sites_allowed(actor, asked.sites), asked.people
    if actor.role is Role.PROVIDER:
        if people is not None and people != {actor.person}:
            raise OutsideYourSites("A provider sees what they were given themselves.")
        people = frozenset({actor.person or 0})
    rows = Assignment.objects.known(known).on(as_of).filter(assigned=True)
    if people is not None:
        rows = rows.filter(person__among=people)
    if asked.on_from is not None:
        rows = rows.filter(on__gte=asked.on_from)
    if asked.on_to is not None:
        rows = rows.filter(on__lte=asked.on_to)
    ids = rows.filter(pk__gt=after or 0).order_by("pk").values_list("id", "due_inspection__device_id")
    keys = _at(sites, list(ids), as_of, known)[: limit + 1]
    columns = ("id", "due_inspection_id", "due_inspection__device_id", "person_id", "on", "half", "from_on")
    found = list(Assignment.objects.filter(pk__among=keys).order_by("pk").values_list(*columns))
    names = names_of({row[3] for row in found}, known)
    records = tuple(
        AssignmentListed(key, due, device, person, names.get(person, ""), on, half and Half(half), since)
        for key, due, device, person, on, half, since in found[:limit]
    )
    return AssignmentsPage(records, records[-1].assignment if len(found) > limit else None)


def _at(sites: frozenset[int] | None, given: Sequence[tuple[int, int]], as_of: dt.date, known: int) -> list[int]:
    """Of assignments with their devices, the ids of those on devices that stand at the sites."""
    if sites is None:
        return [key for key, _ in given]
    placed = Placement.objects.known(known).on(as_of).filter(device__among={device for _, device in given})
    here = set(placed.filter(area__site__in=sites).values_list("device_id", flat=True))
    return [key for key, device in given if device in here]
