"""How scenes choose: from the devices that they are about, with a stream of their own."""

import random
from collections.abc import Iterable
from typing import Any

from pmcore.services.demo.fleet import Machine, Occurrence, windows_of
from pmcore.services.demo.streams import stream
from pmcore.services.demo.world import World


def parameters_of(world: World, scene: str) -> Any:
    return world.parameters.scenes[scene]


def draws_of(world: World, scene: str) -> random.Random:
    return stream(world.seed, scene)


def core(world: World, *, site: str | None = None, device_class: str | None = None) -> list[Machine]:
    """The devices that scenes are about, at a site and of a class."""
    return [
        machine
        for machine in world.fleet
        if machine.core and site in (None, machine.site) and device_class in (None, machine.device_class.key)
    ]


def plain(world: World, *, site: str, device_class: str) -> list[Machine]:
    """Of these, devices of the class's last model: scenes that take devices out of use leave alone the models whose
    days in service are counted elsewhere."""
    found = core(world, site=site, device_class=device_class)
    return [machine for machine in found if machine.model == machine.device_class.models[-1]]


def closing(world: World, said: Any, fleet: Iterable[Machine]) -> list[Occurrence]:
    """Their windows that close in the scene's period; without one, in the whole history."""
    period = (said.get("starts_on", world.begins_on), said.get("ends_on", world.ends_on))
    return list(windows_of(fleet, world.parameters, closing=period))


def scaled(planted: int, of: int, there: int) -> int:
    """The planted number where as many are there as planned; fewer in the same proportion."""
    return planted if there == of else round(planted * there / of)


def of_model(world: World, device_class: str, model: str) -> list[Machine]:
    return [machine for machine in core(world, device_class=device_class) if machine.model.name == model]


def part_of(world: World, planted: int) -> int:
    """The planted number; in a demonstration with fewer devices as much less, but one at least."""
    share = min(1.0, len(world.fleet) / world.parameters.devices)
    return max(1, round(planted * share))
