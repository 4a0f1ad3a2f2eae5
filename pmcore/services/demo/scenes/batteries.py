"""Battery sets: one kind dies before its planned replacement, another does not."""

import datetime as dt
import math
import random
from collections.abc import Callable, Iterator
from typing import Any

from pmcore.engines.due_dates import add_interval
from pmcore.engines.records import SYSTEM
from pmcore.engines.vocabulary import Cause, Subsystem, Unit
from pmcore.models import ItemDetails, PartInstall, PartItem, PartPosition, PartSet, PartSetDetails, PositionDetails
from pmcore.models.rows import Row
from pmcore.services.demo.diary import EVENING, LATER, MORNING, Diary
from pmcore.services.demo.failures import Failure, note_failure
from pmcore.services.demo.fleet import Machine
from pmcore.services.demo.rota import Rota
from pmcore.services.demo.scenes.picking import core, draws_of, parameters_of
from pmcore.services.demo.world import World, written
from pmcore.services.preparation import Draft

SHORT_LIVED, LONG_LIVED = "short_lived_batteries", "long_lived_batteries"

_IN_A_SET = 2
_MONTH = 365.25 / 12
_OLDEST = 30  # months: how old a set may be that was taken over
_GOLDEN = (math.sqrt(5) - 1) / 2


def short_lived(world: World, rota: Rota, diary: Diary) -> None:
    _note(world, diary, SHORT_LIVED)


def long_lived(world: World, rota: Rota, diary: Diary) -> None:
    _note(world, diary, LONG_LIVED)


def _note(world: World, diary: Diary, scene: str) -> None:
    said, draws = parameters_of(world, scene), draws_of(world, scene)
    fleet = core(world, device_class=said["class"])
    if not fleet:
        return
    positions = _register_set(world, diary, said, fleet[0])
    chances = _evenly(draws)
    for machine in fleet:
        _note_life(world, diary, said, machine, positions=positions, age=draws.uniform(0, _OLDEST), chances=chances)


def _evenly(draws: random.Random) -> Iterator[float]:
    """Chances that lie evenly between 0 and 1 however many are taken: few sets tell the planted life."""
    chance = draws.random()
    while True:
        chance = (chance + _GOLDEN) % 1
        yield min(max(chance, 1e-6), 1 - 1e-6)


def _register_set(world: World, diary: Diary, said: Any, machine: Machine) -> list[Row]:
    model, on = world.models[machine.model.maker, machine.model.name], world.begins_on
    part_set = Row(PartSet, device_model=model)
    details = Row(
        PartSetDetails, part_set=part_set, from_on=on, name=said["name"], replace_after_months=said["replace_after"]
    )
    diary.note(on, MORNING, SYSTEM, lambda: Draft("part_set_registered", part_set, [part_set, details]))
    positions = [Row(PartPosition, device_model=model) for _ in range(_IN_A_SET)]
    for number, position in enumerate(positions, 1):
        diary.note(on, EVENING, SYSTEM, _position(said, position, part_set, f"Battery {number}", on))
    return positions


def _position(said: Any, position: Row, part_set: Row, label: str, on: dt.date) -> Callable[[], Draft]:
    def draft() -> Draft:
        details = Row(
            PositionDetails, position=position, from_on=on, label=label, subsystem=Subsystem(said["subsystem"]),
            part_set=written(part_set), flex_point=False,
        )  # fmt: skip
        return Draft("position_registered", position, [position, details])

    return draft


def _note_life(
    world: World,
    diary: Diary,
    said: Any,
    machine: Machine,
    *,
    positions: list[Row],
    age: float,
    chances: Iterator[float],
) -> None:
    """Set after set on one device: each dies, or is replaced when its time has come."""
    began = fitted_on = world.begins_on
    fitted_on -= dt.timedelta(days=round(age * _MONTH))
    diary.note(began, LATER, SYSTEM, _fitting(world, machine, positions, began, fitted_on, planned=None))
    while True:
        hazard = -math.log(next(chances)) + (age / said["scale"]) ** said["shape"]
        life = said["scale"] * hazard ** (1 / said["shape"])
        planned_on = add_interval(fitted_on, said["replace_after"], Unit.MONTH)
        dies_on = fitted_on + dt.timedelta(days=max(1, round(life * _MONTH)))
        on = min(dies_on, max(planned_on, began + dt.timedelta(days=1)))
        if on > world.ends_on:
            return
        if on == dies_on:
            _note_death(world, diary, machine, positions, max(on, began))
        else:
            technician = world.people[machine.technician]
            diary.note(on, LATER, technician, _fitting(world, machine, positions, on, on, planned=True))
        began, fitted_on, age = on, on, 0.0


def _note_death(world: World, diary: Diary, machine: Machine, positions: list[Row], on: dt.date) -> None:
    note_failure(
        world,
        diary,
        Failure(
            machine=machine,
            on=on,
            subsystem=Subsystem.POWER,
            mode="The batteries give no power.",
            cause=Cause.BATTERY,
            position=positions[0],
            fits=lambda device, repair: _new_set(device, positions, on, on, planned=False, repair=repair),
        ),
    )


def _fitting(
    world: World, machine: Machine, positions: list[Row], on: dt.date, fitted_on: dt.date, *, planned: bool | None
) -> Callable[[], Draft]:
    def draft() -> Draft:
        device = world.device(machine)
        return Draft("part_fitted", device, _new_set(device, positions, on, fitted_on, planned=planned))

    return draft


def _new_set(
    device: int,
    positions: list[Row],
    on: dt.date,
    fitted_on: dt.date,
    *,
    planned: bool | None,
    repair: Row | None = None,
) -> list[Row]:
    """The rows of a whole set, fitted on one day."""
    rows = []
    for position in positions:
        item = Row(PartItem)
        details = Row(ItemDetails, item=item, from_on=on, part_number="B-12", made_on=fitted_on)
        install = Row(
            PartInstall, device=device, position=written(position), from_on=on, item=item, fitted_on=fitted_on,
            repair=repair, planned=planned,
        )  # fmt: skip
        rows += [item, details, install]
    return rows
