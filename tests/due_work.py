"""A ward's worth of due inspections and the people who may do them. Story's window: 2026-05-16 to 07-15."""

import datetime as dt
from dataclasses import dataclass

from pmcore.engines.records import SYSTEM, Actor
from pmcore.engines.vocabulary import Role
from pmcore.models import DueInspection
from pmcore.services.people import register_person
from tests.story import Story, a_story, day, moment

TODAY = day(6, 1)
AT = moment(TODAY, 8)


@dataclass
class DueWork:
    """`ruan` and `saskia` are technicians at the first site, `tove` at the second; `pavel` comes from outside, `jorun`
    schedules."""

    story: Story
    ruan: Actor
    saskia: Actor
    tove: Actor
    pavel: Actor
    jorun: Actor
    devices: list[int]

    def due(self, number: int = 0) -> int:
        found: int = DueInspection.objects.get(device=self.devices[number], plan=self.story.plan, due_on=day(6, 15)).pk
        return found

    @property
    def dues(self) -> list[int]:
        return [self.due(number) for number in range(len(self.devices))]


def somebody(name: str, role: Role, on: dt.date, *sites: int) -> Actor:
    person = register_person(name=name, role=role, sites=sites, from_on=on, actor=SYSTEM, at=moment(on, 6)).subject
    return Actor(person, role, frozenset(sites))


def some_due_work(devices: int = 3) -> DueWork:
    story = a_story(swept=())
    others = [story.add_device(f"N-{number}", tag=f"T-{number:04}") for number in range(1, devices)]
    story.sweep(day(6, 16, 2025), day(5, 1), TODAY)
    first, second = story.sites
    began = story.begins_on
    return DueWork(
        story,
        somebody("Ruan Tesk", Role.TECHNICIAN, began, first),
        somebody("Saskia Varnholt-Ede", Role.TECHNICIAN, began, first),
        somebody("Tove Halvard-Quist", Role.TECHNICIAN, began, second),
        somebody("Pavel Orrin-Dask", Role.PROVIDER, began, first),
        somebody("Jorun Keld-Amsel", Role.SCHEDULER, began, first, second),
        [story.device, *others],
    )
