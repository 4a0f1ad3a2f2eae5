"""What the nightly work would have written: due inspections, month by month.

The same rules (`engines.due_generation`) decide as in `services.generate_due`, which would read the whole record again
for every month; a test holds the two against each other.
"""

import datetime as dt
from collections import defaultdict
from collections.abc import Iterator
from dataclasses import dataclass, field

from pmcore.engines.due_dates import IntervalRule, add_interval, occurrences, window_of
from pmcore.engines.due_generation import MONTHS_AHEAD, Covered, Difference, Written, difference
from pmcore.engines.records import SYSTEM, Inspected
from pmcore.engines.records import DueInspection as DueRecord
from pmcore.engines.vocabulary import Unit, WithdrawalReason
from pmcore.models import DueInspection, Withdrawal
from pmcore.models.rows import Row
from pmcore.services.append import append_in_batches
from pmcore.services.demo.diary import NIGHT, moment
from pmcore.services.demo.fleet import Machine, VisitKey
from pmcore.services.demo.parameters import RoundPlan
from pmcore.services.demo.world import World, written
from pmcore.services.preparation import Draft


@dataclass(slots=True)
class Watched:
    """One plan on one machine: `newest` is the last due date that was written, `inspected` what has been done. Of a
    floating plan, what was `written` and of that what was `withdrawn`."""

    machine: Machine
    plan: RoundPlan
    rule: IntervalRule
    counts_from: dt.date
    newest: dt.date
    inspected: list[Inspected] = field(default_factory=list)
    written: list["Visit"] = field(default_factory=list)
    withdrawn: set[int] = field(default_factory=set)


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

    @property
    def stands(self) -> bool:
        return written(self.due) not in self.watched.withdrawn


class Sweeps:
    """`sweep` writes the due inspections of a day; `opening_in` takes those whose windows open in a month."""

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

    def opening_in(self, month: dt.date) -> list[Visit]:
        return [visit for visit in self._opening.pop(month, []) if visit.stands]

    def sweep(self, as_of: dt.date, hour: int = NIGHT) -> None:
        """Append what is called for by that day and is not there, and withdraw what is called for no more."""
        for _ in append_in_batches(self._drafts(as_of), actor=SYSTEM, at=moment(as_of, hour)):
            pass

    def _drafts(self, as_of: dt.date) -> Iterator[Draft]:
        until = add_interval(as_of, MONTHS_AHEAD, Unit.MONTH)
        for plans in self._watched:
            device = self._world.device(plans[0].machine)
            changes = [(watched, self._change(watched, as_of, until)) for watched in plans]
            rows = [self._row(device, watched, due) for watched, change in changes for due in change.add]
            if rows:
                yield Draft("inspections_due", device, rows)
            turned = [row for watched, change in changes for row in _turned(watched, change, as_of)]
            if turned:
                yield Draft("due_withdrawn", device, turned)

    def _change(self, watched: Watched, as_of: dt.date, until: dt.date) -> Difference:
        if watched.plan.floating:
            return self._floating(watched, as_of)
        coming = _following(watched, until)
        return Difference(add=tuple(due for due in coming if due.opens_on > self._world.begins_on))

    def _floating(self, watched: Watched, as_of: dt.date) -> Difference:
        covered = Covered(
            watched.rule,
            anchor=self._world.begins_on,
            starts_on=self._world.begins_on,
            last_met=watched.counts_from,
            inspected=watched.inspected,
            begins_on=self._world.begins_on,
        )
        there = [
            Written(written(visit.due), visit.due_on, visit.opens_on, visit.closes_on, withdrawn=not visit.stands)
            for visit in watched.written
        ]
        return difference(covered, there, as_of)

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
        visit = Visit(watched, row, due.due_on, due.opens_on, due.closes_on)
        if watched.plan.floating:
            watched.written.append(visit)
        watched.newest = due.due_on
        self._opening[due.opens_on.replace(day=1)].append(visit)
        return row


def _following(watched: Watched, until: dt.date) -> Iterator[DueRecord]:
    """What an anchored plan calls for after the newest that was written."""
    for due_on in occurrences(watched.rule, watched.counts_from, watched.newest + dt.timedelta(days=1), until):
        opens_on, closes_on = window_of(watched.rule, due_on)
        yield DueRecord(opens_on, due_on, closes_on)


def _turned(watched: Watched, change: Difference, as_of: dt.date) -> Iterator[Row]:
    for keys, withdrawn in ((change.withdraw, True), (change.restore, False)):
        for key in keys:
            yield Row(
                Withdrawal, due_inspection=key, from_on=as_of, withdrawn=withdrawn,
                reason=WithdrawalReason.PLAN_CHANGED,
            )  # fmt: skip
    watched.withdrawn = (watched.withdrawn | set(change.withdraw)) - set(change.restore)
