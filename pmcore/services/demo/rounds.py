"""The ordinary run of things: who inspects what on which day, what is read, what is left undone.

Each due inspection draws from a stream of its own, so that a scene which changes one leaves all others as they were.
"""

import datetime as dt
import random
from dataclasses import dataclass
from typing import Any

from pmcore.engines.records import Inspected
from pmcore.engines.vocabulary import AttemptOutcome, StepKind
from pmcore.models import Attempt, Finding, Hold, ReasonNotDone
from pmcore.models.rows import Row
from pmcore.services.demo.changes import Change, Changes
from pmcore.services.demo.diary import EVENING, LATER, Diary, moment
from pmcore.services.demo.parameters import StepPlan
from pmcore.services.demo.repairs import note_release, note_repair
from pmcore.services.demo.rota import Rota
from pmcore.services.demo.sheets import Failed, Filled, beyond, drawn_values, failed_rows, inspection_rows
from pmcore.services.demo.streams import stream
from pmcore.services.demo.sweeps import Visit
from pmcore.services.demo.world import World, written
from pmcore.services.preparation import Draft

_UNCHANGED = Change()
_LATE_BY = dt.timedelta(days=25)
_ONE_DAY = dt.timedelta(days=1)
_AROUND = dt.timedelta(days=10)  # so near the due date an inspection is planned

Tries = tuple[tuple[dt.date, AttemptOutcome], ...]


@dataclass(frozen=True, slots=True)
class Drawn:
    """Everything that chance says of one due inspection, whether it is wanted or not. `late_on`: None where it is never
    done late."""

    done_on: dt.date
    in_time: bool
    late_on: dt.date | None
    tried: Tries
    minutes_after_seven: int
    values: dict[str, str]
    fails: str | None
    days_until_released: int
    beyond: str


class Rounds:
    def __init__(self, world: World, rota: Rota, diary: Diary, changes: Changes) -> None:
        self._world, self._rota, self._diary, self._changes = world, rota, diary, changes
        self._ordinary: Any = world.parameters.scenes["ordinary"]

    def plan(self, visit: Visit) -> None:
        """Note in the diary what becomes of a due inspection."""
        change = self._changes.get(visit.key, _UNCHANGED)
        drawn = self._drawn(visit)
        done_on = self._done_on(visit, change, drawn)
        if done_on is None:
            self._note_tries(visit, change, drawn)
        elif done_on <= self._world.ends_on:
            self._note_inspection(visit, change, drawn, done_on)

    def _drawn(self, visit: Visit) -> Drawn:
        machine, plan = visit.watched.machine, visit.watched.plan
        draws = stream(self._world.seed, "rounds", *visit.key)
        days = self._rota.rounds(
            machine.technician,
            max(visit.opens_on, visit.due_on - _AROUND),
            min(visit.closes_on, visit.due_on + _AROUND),
        )
        done_on = draws.choice(days)
        in_time, late = draws.random() < self._ordinary["met"], draws.random() < self._ordinary["late"]
        after = self._rota.rounds(machine.technician, visit.closes_on + _ONE_DAY, visit.closes_on + _LATE_BY)
        late_on = draws.choice(after)
        can_be_late = plan.every >= 3 and (late or machine.device_class.spared)
        steps = self._world.steps[plan.procedure]
        return Drawn(
            done_on=done_on,
            in_time=in_time,
            late_on=late_on if can_be_late else None,
            tried=self._tries(days, draws),
            minutes_after_seven=draws.randrange(0, 400, 5),
            values=drawn_values(steps, draws),
            fails=self._failing(steps, draws) if not machine.device_class.spared else None,
            days_until_released=draws.randint(1, self._ordinary["days_in_workshop"]),
            beyond=beyond(next((step for step in steps if step.kind == StepKind.MEASURE), steps[0]), draws),
        )

    def _tries(self, days: list[dt.date], draws: random.Random) -> Tries:
        outcome = draws.choice((AttemptOutcome.NOT_FOUND, AttemptOutcome.WITH_A_PATIENT))
        tried = draws.random() < self._ordinary["tried"]
        chosen = sorted(draws.sample(days, min(2, len(days))))
        return tuple((day, outcome) for day in chosen) if tried else ()

    def _failing(self, steps: tuple[StepPlan, ...], draws: random.Random) -> str | None:
        """Of what is looked at or tried; a short sheet may have nothing of the kind."""
        can_fail = [each for each in steps if each.fault and each.kind != StepKind.MEASURE]
        fails = draws.random() < self._ordinary["fails"]
        return draws.choice(can_fail).key if fails and can_fail else None

    def _done_on(self, visit: Visit, change: Change, drawn: Drawn) -> dt.date | None:
        """The day on which it is done, in time or late; None: never."""
        if change.done is not None:
            return drawn.done_on if change.done else None
        if drawn.in_time:
            return drawn.done_on
        if drawn.late_on is None or drawn.late_on <= self._world.ends_on:
            return drawn.late_on
        return drawn.done_on if visit.watched.machine.device_class.spared else None

    # What is left undone

    def _note_tries(self, visit: Visit, change: Change, drawn: Drawn) -> None:
        machine = visit.watched.machine
        technician = self._world.people[machine.technician]
        tried = [each for each in change.tried or drawn.tried if each[0] <= self._world.ends_on]
        for day, outcome in tried:
            self._diary.note(day, EVENING, technician, self._attempt(visit, day, outcome, machine.technician))
        if change.reason is not None and tried:
            last = tried[-1][0]
            reason = Row(ReasonNotDone, due_inspection=written(visit.due), from_on=last, reason=change.reason)
            device = self._world.device(machine)
            self._diary.note(last, LATER, technician, lambda: Draft("reason_recorded", device, [reason]))

    def _attempt(self, visit: Visit, day: dt.date, outcome: AttemptOutcome, technician: str) -> Any:
        machine = visit.watched.machine
        row = Row(
            Attempt, due_inspection=written(visit.due), tried_at=moment(day, 10), tried_on=day, outcome=outcome,
            tried_by=self._world.person(technician), area=self._world.areas[machine.site, machine.area],
        )  # fmt: skip
        return lambda: Draft("attempt_made", self._world.device(machine), [row])

    # What is done

    def _note_inspection(self, visit: Visit, change: Change, drawn: Drawn, done_on: dt.date) -> None:
        watched, world = visit.watched, self._world
        technician = change.technician or watched.machine.technician
        steps = world.steps[watched.plan.procedure]
        fails = change.fails or drawn.fails
        filled = Filled(
            day=done_on,
            minutes_after_seven=drawn.minutes_after_seven,
            minutes=world.parameters.sheets[watched.plan.procedure].minutes,
            version=world.versions[watched.plan.procedure],
            steps=steps,
            values=drawn.values | dict(change.values) | ({change.fails: drawn.beyond} if change.fails else {}),
            fails=fails,
            person=world.person(technician),
            site=world.sites[watched.machine.site],
        )
        watched.inspected.append(Inspected(done_on))
        label = change.instrument or world.instrument_of(technician)
        recorded_on = change.recorded_on or done_on
        device = world.device(watched.machine)

        failed = None if fails is None else Failed(Row(Finding, device=device), Row(Hold, device=device))

        def draft() -> Draft:
            rows = list(inspection_rows(device, filled, written(world.instruments[label])))
            wrong = [] if failed is None else failed_rows(failed, rows[0], filled)
            return Draft("inspection_recorded", device, [*rows, *wrong])

        self._diary.note(recorded_on, EVENING, world.people[technician], draft)
        if failed is not None:
            self._note_return(visit, failed, recorded_on, drawn, technician)

    def _note_return(self, visit: Visit, failed: Failed, since: dt.date, drawn: Drawn, technician: str) -> None:
        machine = visit.watched.machine
        on = self._rota.working_from(machine.site, since + _ONE_DAY * drawn.days_until_released)
        if on <= self._world.ends_on:
            note_repair(
                self._world, self._diary, number=machine.number, finding=failed.finding, on=on,
                account="Set right and proven.", technician=technician,
            )  # fmt: skip
            note_release(self._world, self._diary, number=machine.number, hold=failed.hold, on=on)
