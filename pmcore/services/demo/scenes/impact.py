"""At one site pumps are knocked about far more than elsewhere."""

from pmcore.engines.vocabulary import Cause, Subsystem
from pmcore.services.demo.diary import Diary
from pmcore.services.demo.failures import Failure, note_failure, spread
from pmcore.services.demo.rota import Rota
from pmcore.services.demo.scenes.picking import draws_of, of_model, parameters_of, part_of
from pmcore.services.demo.world import World

NAME = "impact"


def note(world: World, rota: Rota, diary: Diary) -> None:
    said, draws = parameters_of(world, NAME), draws_of(world, NAME)
    fleet = of_model(world, said["class"], said["model"])
    here = [machine for machine in fleet if machine.site == said["site"]]
    elsewhere = [machine for machine in fleet if machine.site != said["site"]]
    for machines, planted in ((here, said["failures"]), (elsewhere, said["elsewhere"])):
        for machine, day in spread(draws, machines, part_of(world, planted), world.begins_on, world.ends_on):
            failure = Failure(
                machine=machine, on=day, subsystem=Subsystem.STRUCTURE, mode=said["mode"], cause=Cause.IMPACT
            )
            note_failure(world, diary, failure)
