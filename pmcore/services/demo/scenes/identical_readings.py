"""One person, with one instrument, writes down the same value again and again."""

from pmcore.services.demo.changes import Change, Changes
from pmcore.services.demo.rota import Rota
from pmcore.services.demo.scenes.picking import closing, core, draws_of, parameters_of
from pmcore.services.demo.world import World

NAME = "identical_readings"


def changes(world: World, rota: Rota) -> Changes:
    said = parameters_of(world, NAME)
    pool = closing(world, said, core(world, site=said["site"], device_class=said["class"]))
    chosen = draws_of(world, NAME).sample(pool, min(said["copies"], len(pool)))
    instrument = world.instrument_of(said["person"])
    copied = Change(done=True, technician=said["person"], instrument=instrument, values={said["step"]: said["value"]})
    return {each.key: copied for each in chosen}
