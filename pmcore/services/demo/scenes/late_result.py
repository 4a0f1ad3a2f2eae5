"""One inspection was done in time and entered a year later: the figure of an old quarter changes, and says why."""

from pmcore.services.demo.changes import Change, Changes
from pmcore.services.demo.rota import Rota
from pmcore.services.demo.scenes.picking import closing, core, draws_of, parameters_of
from pmcore.services.demo.world import World

NAME = "late_result"


def changes(world: World, rota: Rota) -> Changes:
    said = parameters_of(world, NAME)
    pool = closing(world, said, core(world, site=said["site"], device_class=said["class"]))
    chosen = draws_of(world, NAME).sample(pool, min(1, len(pool)))
    return {each.key: Change(done=True, recorded_on=said["recorded_on"]) for each in chosen}
