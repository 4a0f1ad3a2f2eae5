"""What the nightly work would have written: due inspections, month by month.

The same rules (`engines.due_generation`) decide as in `services.generate_due`, which would read the whole record again
for every month; a test holds the two against each other.
"""

import datetime as dt
from collections import defaultdict
from collections.abc import Iterable, Iterator
from dataclasses import dataclass, field

from pmcore.engines.due_dates import IntervalRule, add_interval, occurrences, window_of
from pmcore.engines.due_generation import MONTHS_AHEAD, Covered, Written, difference
from pmcore.engines.records import SYSTEM, Inspected
from pmcore.engines.records import DueInspection as DueRecord
from pmcore.engines.vocabulary import Unit
from pmcore.models import DueInspection
from pmcore.models.rows import Row
from pmcore.services.append import append_in_batches
from pmcore.services.demo.diary import NIGHT, moment
from pmcore.services.demo.fleet import Machine, VisitKey
from pmcore.services.demo.parameters import RoundPlan
from pmcore.services.demo.world import World, written
from pmcore.services.preparation import Draft


@dataclass(slots=True)
class Watched:
    """One plan on one machine: `newest` is the last due date that was written, `inspected` what has been done."""

    machine: Machine
    plan: RoundPlan
    rule: IntervalRule
    counts_from: dt.date
    newest: dt.date
    written: list[Row] = field(default_factory=list)
    inspected: list[Inspected] = field(default_factory=list)


@dataclass(frozen=True, slots=True)
class Visit:
    """A due inspection that was written, and the plan that it belongs to."""

    watched: Watched
    due: Row
    due_on: dt.date
    opens_on: dt.date
    closes_on: dt.date

    @property
    def key(self) -> VisitKey:
        return self.watched.machine.number, self.watched.plan.key, self.due_on


class Sweeps:
    """`opening_in`: takes the visits whose windows open in a month, for the rounds to plan."""

    def __init__(self, world: World) -> None:
        self._world = world
        self._watched = [
            [
                Watched(machine, plan, world.rules[plan.key], machine.counts_from[plan.key], world.begins_on)
                for plan in machine.device_class.plans
            ]
            for machine in world.fleet
        ]
        self._opening: dict[dt.date, list[Visit]] = defaultdict(list)
        self.entries = 0

    def opening_in(self, month: dt.date) -> list[Visit]:
        return self._opening.pop(month, [])

    def sweep(self, as_of: dt.date, hour: int = NIGHT) -> None:
        """Append what is called for by that day and is not there."""
        for receipts in append_in_batches(self._drafts(as_of), actor=SYSTEM, at=moment(as_of, hour)):
            self.entries += len(receipts)

    def _drafts(self, as_of: dt.date) -> Iterator[Draft]:
        until = add_interval(as_of, MONTHS_AHEAD, Unit.MONTH)
        for plans in self._watched:
            device = self._world.device(plans[0].machine)
            rows = [
                self._row(device, watched, due)
                for watched in plans
                for due in self._called_for(watched, as_of, until)
            ]
            if rows:
                yield Draft("inspections_due", device, rows)

    def _called_for(self, watched: Watched, as_of: dt.date, until: dt.date) -> Iterable[DueRecord]:
        if watched.plan.floating:
            return self._floating(watched, as_of)
        return (due for due in _anchored(watched, until) if due.opens_on > self._world.begins_on)

    def _row(self, device: int, watched: Watched, due: DueRecord) -> Row:
        row = Row(
            DueInspection,
            device=device,
            plan=self._world.plans[watched.plan.key],
            procedure=self._world.procedures[watched.plan.procedure],
            due_on=due.due_on,
            opens_on=due.opens_on,
            closes_on=due.closes_on,
        )
        if watched.plan.floating:
            watched.written.append(row)
        watched.newest = due.due_on
        visit = Visit(watched, row, due.due_on, due.opens_on, due.closes_on)
        self._opening[due.opens_on.replace(day=1)].append(visit)
        return row

    def _floating(self, watched: Watched, as_of: dt.date) -> tuple[DueRecord, ...]:
        covered = Covered(
            watched.rule,
            anchor=self._world.begins_on,
            starts_on=self._world.begins_on,
            last_met=watched.counts_from,
            inspected=watched.inspected,
            begins_on=self._world.begins_on,
        )
        there = [
            Written(written(row), row.values["due_on"], row.values["opens_on"], row.values["closes_on"])
            for row in watched.written
        ]
        return difference(covered, there, as_of).add


def _anchored(watched: Watched, until: dt.date) -> Iterator[DueRecord]:
    """What follows the newest that was written."""
    for due_on in occurrences(watched.rule, watched.counts_from, watched.newest + dt.timedelta(days=1), until):
        opens_on, closes_on = window_of(watched.rule, due_on)
        yield DueRecord(opens_on, due_on, closes_on)
