"""Quillmere Health, built: three years of a health system that does not exist, written in order of time."""

import datetime as dt
from collections.abc import Callable, Iterator, Sequence
from dataclasses import dataclass

from pmcore.engines.due_dates import add_interval
from pmcore.engines.vocabulary import Unit
from pmcore.models import SiteSweep
from pmcore.queries.head import head
from pmcore.services.demo.changes import together
from pmcore.services.demo.diary import LAST, NIGHT, Diary, moment
from pmcore.services.demo.fleet import machines
from pmcore.services.demo.marks import Demonstration, is_built, mark_begun, mark_built
from pmcore.services.demo.opening import open_health_system, register_instruments, take_over_devices
from pmcore.services.demo.parameters import Parameters, quillmere
from pmcore.services.demo.rota import Rota
from pmcore.services.demo.rounds import Rounds
from pmcore.services.demo.scenes.listed import SCENES, Scene
from pmcore.services.demo.sweeps import Sweeps
from pmcore.services.demo.world import World
from pmcore.services.statistics import count_anew

MANY_DEVICES = 5_000  # from here on, sheets are short

Progress = Callable[[str, int, int], None]
"""Called with what is being done, how much of it is done, and of how much."""


@dataclass(frozen=True, slots=True)
class Built:
    """`entries`: how many were written; none where it was there already."""

    demonstration: Demonstration
    entries: int


def build_demo(
    *,
    seed: int | None = None,
    devices: int | None = None,
    progress: Progress | None = None,
    parameters: Parameters | None = None,
    scenes: Sequence[Scene] = SCENES,
) -> Built:
    """Build it into an empty record; where it is there already, nothing is written.

    Raises RecordInUse, BuildInterrupted, AnotherDemonstration.
    """
    parameters = parameters or quillmere()
    wanted = Demonstration(parameters.seed if seed is None else seed, devices or parameters.devices)
    if is_built(wanted):
        return Built(wanted, 0)
    world = World(parameters, wanted.seed, machines(parameters, wanted.seed, wanted.devices))
    setting = mark_begun(wanted, parameters.begins_on)
    swept_at = _build(world, scenes, progress or _say_nothing)
    count_anew()
    mark_built(setting, wanted, swept_at + dt.timedelta(hours=1))
    return Built(wanted, head().size)


def _build(world: World, scenes: Sequence[Scene], progress: Progress) -> dt.datetime:
    """Gives back the moment of the last sweep: in the night before the last day, so that the demonstration's clock can
    begin that morning after all that is written; in its evening only where something was done on that day."""
    progress("Sites, people and sheets", 0, 1)
    open_health_system(world, short_sheets=len(world.fleet) >= MANY_DEVICES)
    progress("Sites, people and sheets", 1, 1)
    for done in take_over_devices(world):
        progress("Devices", done, len(world.fleet))
    diary, sweeps = Diary(), Sweeps(world)
    rota = Rota(world.parameters, world.seed)
    register_instruments(world, diary)
    for scene in scenes:
        if scene.note is not None:
            scene.note(world, rota, diary)
    rounds = Rounds(world, rota, diary, together(each.changes(world, rota) for each in scenes if each.changes))
    months = list(_months(world.begins_on, world.ends_on))
    diary.write(world.begins_on)
    sweeps.sweep(world.begins_on, LAST)
    for number, (first, last) in enumerate(months, 1):
        if first > world.begins_on:
            sweeps.sweep(first)
        for visit in sweeps.opening_in(first.replace(day=1)):
            rounds.plan(visit)
        diary.write(last)
        progress("Months", number, len(months))
    night = moment(world.ends_on, NIGHT)
    swept_at = night if diary.newest_at is None or diary.newest_at < night else moment(world.ends_on, LAST)
    sweeps.sweep(world.ends_on, swept_at.hour)
    _mark_swept(world, swept_at)
    return swept_at


def _months(begins_on: dt.date, ends_on: dt.date) -> Iterator[tuple[dt.date, dt.date]]:
    """First and last day of every month of the history."""
    first = begins_on
    while first <= ends_on:
        following = add_interval(first.replace(day=1), 1, Unit.MONTH)
        yield first, min(following - dt.timedelta(days=1), ends_on)
        first = following


def _mark_swept(world: World, at: dt.datetime) -> None:
    """The hourly work goes on from the last day."""
    for site in world.sites.values():
        SiteSweep.objects.update_or_create(site_id=site, defaults={"swept_on": world.ends_on, "swept_at": at})


def _say_nothing(phase: str, done: int, of: int) -> None:
    """Where nobody wants to know."""
