"""One part moves from a device to another of the same model, and can be followed."""

import datetime as dt
from collections.abc import Callable

from pmcore.engines.records import SYSTEM
from pmcore.engines.vocabulary import HoldReason, Subsystem
from pmcore.models import Hold, HoldDetails, ItemDetails, PartInstall, PartItem, PartPosition, PositionDetails
from pmcore.models.rows import Row
from pmcore.services.demo.diary import EVENING, LATER, MORNING, Diary
from pmcore.services.demo.fleet import Machine
from pmcore.services.demo.repairs import note_release
from pmcore.services.demo.rota import Rota
from pmcore.services.demo.scenes.picking import draws_of, parameters_of, plain
from pmcore.services.demo.world import World, written
from pmcore.services.preparation import Draft

NAME = "moved_part"


def note(world: World, rota: Rota, diary: Diary) -> None:
    said, draws = parameters_of(world, NAME), draws_of(world, NAME)
    pool = plain(world, site=said["site"], device_class=said["class"])
    if len(pool) < 2:
        return
    donor, recipient = draws.sample(pool, 2)
    position, item = _position(world, diary, donor), Row(PartItem)
    diary.note(world.begins_on, EVENING, SYSTEM, _fitted_first(world, donor, position, item))
    technician = world.people[donor.technician]
    moved_on, hold = said["moved_on"], Row(Hold)
    diary.note(moved_on, EVENING, technician, _taken_out(world, donor, position, moved_on, hold))
    diary.note(moved_on, LATER, technician, _fitted(world, recipient, position, item, moved_on))
    again_on = moved_on + dt.timedelta(days=said["days_without"])
    diary.note(again_on, EVENING, technician, _fitted(world, donor, position, Row(PartItem), again_on))
    note_release(world, diary, number=donor.number, hold=hold, on=again_on)


def _position(world: World, diary: Diary, donor: Machine) -> Row:
    model = world.models[donor.model.maker, donor.model.name]
    position = Row(PartPosition, device_model=model)
    details = Row(
        PositionDetails, position=position, from_on=world.begins_on, label="Hand control socket",
        subsystem=Subsystem.CONTROLS, flex_point=False,
    )  # fmt: skip
    diary.note(world.begins_on, MORNING, SYSTEM, lambda: Draft("position_registered", position, [position, details]))
    return position


def _fitted_first(world: World, donor: Machine, position: Row, item: Row) -> Callable[[], Draft]:
    def draft() -> Draft:
        device = world.device(donor)
        details = Row(ItemDetails, item=item, from_on=world.begins_on, part_number="OM-HC-2", serial="HC-70415")
        fitted = Row(PartInstall, device=device, position=written(position), from_on=world.begins_on, item=item)
        return Draft("part_fitted", device, [item, details, fitted])

    return draft


def _taken_out(world: World, donor: Machine, position: Row, on: dt.date, hold: Row) -> Callable[[], Draft]:
    """The donor is held until it has a part again."""

    def draft() -> Draft:
        device = world.device(donor)
        hold.values["device"] = device
        held = Row(
            HoldDetails, hold=hold, from_on=on, reason=HoldReason.DONOR_OF_PARTS,
            placed_by=world.person(donor.technician),
        )  # fmt: skip
        gone = Row(PartInstall, device=device, position=written(position), from_on=on)
        return Draft("part_fitted", device, [gone, hold, held])

    return draft


def _fitted(world: World, machine: Machine, position: Row, item: Row, on: dt.date) -> Callable[[], Draft]:
    """A part that has been somewhere before, or a new one."""

    def draft() -> Draft:
        device = world.device(machine)
        new = [] if item.id is not None else [item, Row(ItemDetails, item=item, from_on=on, part_number="OM-HC-2")]
        fitted = Row(
            PartInstall, device=device, position=written(position), from_on=on, item=item.id or item, fitted_on=on
        )
        return Draft("part_fitted", device, [*new, fitted])

    return draft
