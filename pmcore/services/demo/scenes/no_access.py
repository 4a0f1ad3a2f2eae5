"""At one site, in one quarter, technicians are often turned away; at the others everything is as usual."""

from collections.abc import Sequence

from pmcore.engines.vocabulary import AttemptOutcome, ReasonCode
from pmcore.services.demo.changes import Change, Changes
from pmcore.services.demo.fleet import Occurrence
from pmcore.services.demo.rota import Rota
from pmcore.services.demo.scenes.picking import closing, core, draws_of, parameters_of, scaled
from pmcore.services.demo.world import World

NAME = "no_access"


def changes(world: World, rota: Rota) -> Changes:
    """Of all windows that close in the quarter, which are met: exactly as many as planned."""
    said, draws = parameters_of(world, NAME), draws_of(world, NAME)
    pool = closing(world, said, core(world))
    here = [each for each in pool if each.machine.site == said["site"]]
    elsewhere = [each for each in pool if each.machine.site != said["site"]]
    found = {each.key: Change(done=True) for each in pool}
    missed = draws.sample(_may_be_missed(here), scaled(said["due"] - said["met"], said["due"], len(here)))
    for number, each in enumerate(missed):
        days = draws.sample(rota.rounds(each.machine.technician, each.opens_on, each.closes_on), 2)
        tried = tuple((day, AttemptOutcome.NO_ACCESS) for day in sorted(days))
        reason = ReasonCode.NO_ACCESS if number < said["with_reason"] else None
        found[each.key] = Change(done=False, tried=tried, reason=reason)
    usual = scaled(said["others_due"] - said["others_met"], said["others_due"], len(elsewhere))
    found |= {each.key: Change(done=False) for each in draws.sample(_may_be_missed(elsewhere), usual)}
    return found


def _may_be_missed(pool: Sequence[Occurrence]) -> list[Occurrence]:
    return [each for each in pool if not each.machine.device_class.spared]
