"""The due inspections of one device and what each is on a day."""

import datetime as dt
from dataclasses import dataclass

from pmcore.engines.due_status import STATES, states_on
from pmcore.engines.vocabulary import DueState, RiskClass
from pmcore.queries.group_names import plan_names
from pmcore.queries.standing_catalogue import catalogue
from pmcore.queries.standing_rows import RISK_CLASSES, Standings
from pmcore.queries.standings import standings_of


@dataclass(frozen=True, slots=True)
class DeviceDue:
    """`completed_on`: when it was done, by the day asked for; `risk_class`: when its window opened."""

    due_inspection: int
    plan: str
    state: DueState
    risk_class: RiskClass
    opens_on: dt.date
    due_on: dt.date
    closes_on: dt.date
    completed_on: dt.date | None


def device_dues(device: int, *, as_of: dt.date, known: int) -> list[DeviceDue]:
    """In order of due dates; a fixed number of statements."""
    standings = Standings.of_rows(list(standings_of([device], catalogue(known))))
    names = plan_names(known)
    states = [STATES[code] for code in states_on(standings, as_of)]
    dues = []
    for at, state in enumerate(states):
        done = standings.completed_on[at].item()
        dues.append(
            DeviceDue(
                due_inspection=int(standings.due_inspection[at]),
                plan=names.get(int(standings.plan[at]), ""),
                state=state,
                risk_class=RISK_CLASSES[standings.risk_class[at]],
                opens_on=standings.opens_on[at].item(),
                due_on=standings.due_on[at].item(),
                closes_on=standings.closes_on[at].item(),
                completed_on=done if done is not None and done <= as_of else None,
            )
        )
    return sorted(dues, key=lambda due: (due.due_on, due.due_inspection))
