"""A spare instrument is found out of tolerance; since its last good calibration it had been used on some devices."""

import datetime as dt

from pmcore.engines.vocabulary import CalibrationOutcome
from pmcore.services.demo.changes import Change, Changes
from pmcore.services.demo.diary import Diary
from pmcore.services.demo.opening import note_calibration, note_instrument
from pmcore.services.demo.rota import Rota
from pmcore.services.demo.scenes.picking import closing, core, draws_of, parameters_of
from pmcore.services.demo.world import World

NAME = "doubted_instrument"


def changes(world: World, rota: Rota) -> Changes:
    """Which inspections it touched. The devices are of a class whose inspections are always done."""
    said = parameters_of(world, NAME)
    pool = closing(world, said, core(world, site=said["site"], device_class=said["class"]))
    chosen = draws_of(world, NAME).sample(pool, min(said["inspections"], len(pool)))
    return {each.key: Change(instrument=said["label"]) for each in chosen}


def note(world: World, rota: Rota, diary: Diary) -> None:
    said = parameters_of(world, NAME)
    good_on: dt.date = said["good_on"]
    note_instrument(world, diary, said["label"], said["site"], from_on=good_on, calibrated_on=good_on)
    note_calibration(world, diary, said["label"], said["doubted_on"], CalibrationOutcome.OUT_OF_TOLERANCE)
