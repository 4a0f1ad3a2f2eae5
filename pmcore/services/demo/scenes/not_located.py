"""Some devices are looked for on two days, and nobody can find them; whatever comes due later is not done either."""

import datetime as dt
from collections.abc import Callable
from dataclasses import dataclass

from pmcore.engines.vocabulary import AttemptOutcome, ServiceStateKind
from pmcore.models import ServiceState
from pmcore.models.rows import Row
from pmcore.services.demo.changes import Change, Changes
from pmcore.services.demo.diary import LATER, Diary
from pmcore.services.demo.fleet import Machine, Occurrence
from pmcore.services.demo.rota import Rota
from pmcore.services.demo.scenes.picking import closing, draws_of, parameters_of, plain
from pmcore.services.demo.world import World
from pmcore.services.preparation import Draft

NAME = "not_located"


@dataclass(frozen=True, slots=True)
class _Search:
    machine: Machine
    window: Occurrence
    tried_on: tuple[dt.date, dt.date]
    last_seen_on: dt.date


def changes(world: World, rota: Rota) -> Changes:
    found: Changes = {}
    for search in _searches(world, rota):
        ahead = {"starts_on": search.window.closes_on, "ends_on": dt.date.max}
        for each in closing(world, ahead, [search.machine]):
            days = rota.rounds(search.machine.technician, each.opens_on, each.closes_on)[:2]
            tried_on = search.tried_on if each == search.window else days
            tried = tuple((day, AttemptOutcome.NOT_FOUND) for day in tried_on)
            found[each.key] = Change(done=False, tried=tried)
    return found


def note(world: World, rota: Rota, diary: Diary) -> None:
    """On the second day of the search the device is marked."""
    for search in _searches(world, rota):
        diary.note(search.tried_on[1], LATER, world.people[search.machine.technician], _marking(world, search))


def _marking(world: World, search: _Search) -> Callable[[], Draft]:
    def draft() -> Draft:
        device = world.device(search.machine)
        row = Row(
            ServiceState, device=device, from_on=search.tried_on[1], state=ServiceStateKind.NOT_LOCATED,
            last_seen_on=search.last_seen_on,
        )  # fmt: skip
        return Draft("service_state_set", device, [row])

    return draft


def _searches(world: World, rota: Rota) -> list[_Search]:
    """The same every time it is asked."""
    said, draws = parameters_of(world, NAME), draws_of(world, NAME)
    found = []
    for device_class, number in said["numbers"].items():
        pool = plain(world, site=said["site"], device_class=device_class)
        for machine in draws.sample(pool, min(number, len(pool))):
            window = closing(world, said, [machine])[0]
            first, second = sorted(draws.sample(rota.rounds(machine.technician, window.opens_on, window.closes_on), 2))
            last_seen_on = window.opens_on - dt.timedelta(days=draws.randint(2, 40))
            found.append(_Search(machine, window, (first, second), last_seen_on))
    return found
