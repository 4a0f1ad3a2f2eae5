"""Who is to do a due inspection, on which day and half."""

import datetime as dt
from collections import defaultdict
from collections.abc import Collection, Mapping
from dataclasses import dataclass
from typing import Any

from pmcore.engines.vocabulary import Half
from pmcore.models import Assignment, PersonDetails
from pmcore.models.base import RecordedQuerySet

_NAMELESS = "somebody whose name was taken out"


@dataclass(frozen=True, slots=True)
class Assigned:
    """`on`, `half`: None where only the person was said."""

    due_inspection: int
    person: int
    on: dt.date | None
    half: Half | None


def assigned_among(dues: Collection[int], *, as_of: dt.date, known: int) -> Mapping[int, tuple[Assigned, ...]]:
    """By due inspection, in order of day, those given to nobody left out: one statement."""
    return _by_due(Assignment.objects.known(known).filter(due_inspection__among=dues), as_of)


def assigned_to(person: int, *, as_of: dt.date, known: int) -> frozenset[int]:
    """The due inspections that a person was given and not relieved of, done ones too: one statement."""
    return frozenset(_by_due(Assignment.objects.known(known).filter(person=person), as_of))


def is_given(person: int, device: int) -> bool:
    """Is anything on the device the person's to do, as known now? One statement."""
    rows = Assignment.objects.current().filter(person=person, due_inspection__device=device)
    return bool(_by_due(rows, dt.date.max))


def assigned_between(
    people: Collection[int], starts_on: dt.date, ends_on: dt.date, *, as_of: dt.date, known: int
) -> list[Assigned]:
    """What these people have on days of the period, done or not: one statement."""
    found = _by_due(Assignment.objects.known(known).filter(person__among=people), as_of)
    every = [each for of_due in found.values() for each in of_due]
    return [each for each in every if each.on is not None and starts_on <= each.on <= ends_on]


def names_of(people: Collection[int], known: int) -> dict[int, str]:
    """The newest names of people: one statement."""
    rows = PersonDetails.objects.known(known).filter(person__among=people).order_by("from_on", "id")
    return {person: name or _NAMELESS for person, name in rows.values_list("person_id", "name__words")}


def _by_due(facts: RecordedQuerySet[Any], as_of: dt.date) -> dict[int, tuple[Assigned, ...]]:
    """Of each person and due inspection the last word said by the day counts."""
    last: dict[tuple[int, int], tuple[bool, dt.date | None, str | None]] = {}
    rows = facts.filter(from_on__lte=as_of).order_by("from_on", "id")
    for due, person, *said in rows.values_list("due_inspection_id", "person_id", "assigned", "on", "half"):
        last[due, person] = (said[0], said[1], said[2])
    found: dict[int, list[Assigned]] = defaultdict(list)
    for (due, person), (assigned, on, half) in last.items():
        if assigned:
            found[due].append(Assigned(due, person, on, None if half is None else Half(half)))
    return {due: tuple(sorted(each, key=_in_time)) for due, each in found.items()}


def _in_time(each: Assigned) -> tuple[dt.date, str, int]:
    return each.on or dt.date.max, each.half or "", each.person
