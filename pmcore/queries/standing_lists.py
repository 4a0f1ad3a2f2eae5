"""What stands by name beside the headline."""

import datetime as dt
from dataclasses import dataclass, fields

import numpy as np
from numpy.typing import NDArray

from pmcore.engines.compliance import COUNTED
from pmcore.engines.vocabulary import Counted, PlanBasis, RiskClass
from pmcore.engines.working_days import working_days_after_many
from pmcore.queries.standing_catalogue import Catalogue
from pmcore.queries.standing_rows import BASES, RISK_CLASSES, Standings

Truth = NDArray[np.bool_]


@dataclass(frozen=True, slots=True)
class Listed:
    """A due inspection by name, with what is known of it; days that have not come are None."""

    due_inspection: int
    device: int
    plan: int
    site: int
    risk_class: RiskClass
    basis: PlanBasis
    counted: Counted
    due_on: dt.date
    closes_on: dt.date
    completed_on: dt.date | None
    recorded_on: dt.date | None
    previous_on: dt.date | None
    latest_on: dt.date | None
    left_on: dt.date | None
    sealed_on: dt.date | None
    moved_on: dt.date | None


@dataclass(frozen=True, slots=True)
class Lists:
    """`gaps`: met, but further from the inspection before than interval and window allow; `late_entered`: entered more
    working days after the work than the setting allows; `moved`: arrived at another site inside the window."""

    high_risk_misses: tuple[Listed, ...]
    early: tuple[Listed, ...]
    late_entered: tuple[Listed, ...]
    gaps: tuple[Listed, ...]
    moved: tuple[Listed, ...]
    ended: tuple[Listed, ...]
    suspended: tuple[Listed, ...]
    withdrawn: tuple[Listed, ...]

    @property
    def devices(self) -> set[int]:
        return {each.device for field in fields(self) for each in getattr(self, field.name)}


def lists_of(standings: Standings, counted: NDArray[np.int8], as_of: dt.date, catalogue: Catalogue) -> Lists:
    """`counted`: what each standing counts as on `as_of`, its place in COUNTED."""
    day = np.datetime64(as_of, "D")
    done = standings.completed_on <= day
    missed = _is(counted, Counted.REASON_RECORDED) | _is(counted, Counted.NO_REASON)
    grave = np.isin(standings.risk_class, [RISK_CLASSES.index(RiskClass.OTHER)], invert=True)
    grave |= standings.basis == BASES.index(PlanBasis.ALTERNATE)
    met = _is(counted, Counted.MET)
    stands = ~_is(counted, Counted.WITHDRAWN)

    def listed(chosen: Truth) -> tuple[Listed, ...]:
        return tuple(_listed(standings.where(chosen), counted[chosen]))

    return Lists(
        high_risk_misses=listed(missed & grave),
        early=listed(met & (standings.completed_on < standings.opens_on)),
        late_entered=listed(done & stands & _entered_late(standings, catalogue)),
        gaps=listed(met & (standings.anchored == 1) & (standings.completed_on > standings.latest_on)),
        moved=listed(stands & (standings.moved_on <= day)),
        ended=listed(_is(counted, Counted.ENDED)),
        suspended=listed(_is(counted, Counted.SUSPENDED)),
        withdrawn=listed(~stands),
    )


def _is(counted: NDArray[np.int8], word: Counted) -> Truth:
    same: Truth = counted == COUNTED.index(word)
    return same


def _entered_late(standings: Standings, catalogue: Catalogue) -> Truth:
    """By the setting of the day on which it was entered, so that no later one makes an entry timely."""
    later: Truth = standings.recorded_on > standings.completed_on
    rows = np.flatnonzero(later)
    days = [catalogue.settings.on("late_entry_working_days", day) for day in standings.recorded_on[rows].tolist()]
    groups, place = np.unique(np.stack([standings.site[rows], np.array(days, np.int64)]), axis=1, return_inverse=True)
    for number, (site, allowed) in enumerate(groups.T.tolist()):
        chosen, calendar = rows[place.ravel() == number], catalogue.calendar(site)
        done_on = standings.completed_on[chosen]
        last = working_days_after_many(done_on, allowed, calendar.weekend, calendar.holidays)
        later[chosen] = standings.recorded_on[chosen] > last
    return later


def _listed(standings: Standings, counted: NDArray[np.int8]) -> list[Listed]:
    return [
        Listed(
            due_inspection=int(standings.due_inspection[at]),
            device=int(standings.device[at]),
            plan=int(standings.plan[at]),
            site=int(standings.site[at]),
            risk_class=RISK_CLASSES[standings.risk_class[at]],
            basis=BASES[standings.basis[at]],
            counted=COUNTED[counted[at]],
            due_on=standings.due_on[at].item(),
            closes_on=standings.closes_on[at].item(),
            completed_on=standings.completed_on[at].item(),
            recorded_on=standings.recorded_on[at].item(),
            previous_on=standings.previous_on[at].item(),
            latest_on=standings.latest_on[at].item(),
            left_on=standings.left_on[at].item(),
            sealed_on=standings.sealed_on[at].item(),
            moved_on=standings.moved_on[at].item(),
        )
        for at in range(len(standings))
    ]
