"""Which due inspections work that no plan called for would meet, or has met."""

import datetime as dt
from dataclasses import dataclass

import numpy as np

from pmcore.engines.due_status import STATES, states_on
from pmcore.engines.records import Actor
from pmcore.engines.vocabulary import DueState
from pmcore.models import CoveredProcedure
from pmcore.queries.due_list import due_items
from pmcore.queries.standing_catalogue import catalogue
from pmcore.queries.standing_rows import Standings
from pmcore.queries.standings import credits_of_work, standings_of


@dataclass(frozen=True, slots=True)
class DueMet:
    """`state`: as it stood before the work, or stands since. `seen`: whoever asks may open its own sheet."""

    due_inspection: int
    plan: int
    due_on: dt.date
    opens_on: dt.date
    closes_on: dt.date
    state: DueState
    seen: bool


def would_meet(
    device: int, procedure: int, version: int, *, on: dt.date, known: int, actor: Actor
) -> tuple[DueMet, ...]:
    """If the whole sheet is done on the device that day; of each plan one at most. A fixed number of statements."""
    covered = CoveredProcedure.objects.known(known).filter(sheet__version=version)
    does = frozenset({procedure, *covered.values_list("procedure_id", flat=True)})
    credited = credits_of_work(device, on, does, catalogue(known))
    found = _standings(device, known)
    return _told(found.where(np.isin(found.due_inspection, credited)), on, known, actor)


def has_met(device: int, inspection: int, *, as_of: dt.date, known: int, actor: Actor) -> tuple[DueMet, ...]:
    """What the inspection was credited to. A fixed number of statements."""
    found = _standings(device, known)
    return _told(found.where(found.inspection == inspection), as_of, known, actor)


def _standings(device: int, known: int) -> Standings:
    return Standings.of_rows(list(standings_of([device], catalogue(known))))


def _told(met: Standings, on: dt.date, known: int, actor: Actor) -> tuple[DueMet, ...]:
    dues = met.due_inspection.tolist()
    seen = {item.due_inspection for item in due_items(dues, as_of=on, known=known, actor=actor)}
    states = states_on(met, on)
    return tuple(
        DueMet(
            due_inspection=due,
            plan=int(met.plan[at]),
            due_on=met.due_on[at].item(),
            opens_on=met.opens_on[at].item(),
            closes_on=met.closes_on[at].item(),
            state=STATES[states[at]],
            seen=due in seen,
        )
        for at, due in enumerate(dues)
    )
