"""One interval is too long, another too short: how often what is measured is out of tolerance shows it."""

from pmcore.services.demo.changes import Change, Changes
from pmcore.services.demo.rota import Rota
from pmcore.services.demo.scenes.picking import closing, core, draws_of, parameters_of, scaled
from pmcore.services.demo.world import World


def load_cells(world: World, rota: Rota) -> Changes:
    """Patient lifts, yearly."""
    return _out_of_tolerance(world, "load_cells")


def monitor_checks(world: World, rota: Rota) -> Changes:
    """Patient monitors, every half year."""
    return _out_of_tolerance(world, "monitor_checks")


def _out_of_tolerance(world: World, scene: str) -> Changes:
    said = parameters_of(world, scene)
    pool = closing(world, said, core(world, device_class=said["class"]))
    count = scaled(said["out_of_tolerance"], said["checks"], len(pool))
    return {each.key: Change(fails=said["step"]) for each in draws_of(world, scene).sample(pool, count)}
