"""What has been written so far, by the words of the parameters."""

import datetime as dt
from dataclasses import dataclass, field

from pmcore.engines.due_dates import IntervalRule
from pmcore.engines.records import Actor
from pmcore.models.rows import Row
from pmcore.services.demo.fleet import Machine, rule_of
from pmcore.services.demo.parameters import Parameters, StepPlan


@dataclass(slots=True)
class World:
    """Ids by key: areas by site and name, models by maker and name, steps and versions by the sheet's key, devices by
    the machine's number. Devices and instruments are rows, which have their ids once they are written."""

    parameters: Parameters
    seed: int
    fleet: list[Machine]
    sites: dict[str, int] = field(default_factory=dict)
    areas: dict[tuple[str, str], int] = field(default_factory=dict)
    providers: dict[str, int] = field(default_factory=dict)
    people: dict[str, Actor] = field(default_factory=dict)
    classes: dict[str, int] = field(default_factory=dict)
    models: dict[tuple[str, str], int] = field(default_factory=dict)
    revisions: dict[tuple[str, str, str], int] = field(default_factory=dict)
    procedures: dict[str, int] = field(default_factory=dict)
    versions: dict[str, int] = field(default_factory=dict)
    steps: dict[str, tuple[StepPlan, ...]] = field(default_factory=dict)
    plans: dict[str, int] = field(default_factory=dict)
    rules: dict[str, IntervalRule] = field(default_factory=dict)
    instruments: dict[str, Row] = field(default_factory=dict)
    devices: dict[int, Row] = field(default_factory=dict)

    def __post_init__(self) -> None:
        for device_class in self.parameters.classes:
            for plan in device_class.plans:
                self.rules[plan.key] = rule_of(plan, self.parameters)

    @property
    def begins_on(self) -> dt.date:
        return self.parameters.begins_on

    @property
    def ends_on(self) -> dt.date:
        return self.parameters.ends_on

    def device(self, machine: Machine) -> int:
        return written(self.devices[machine.number])

    def person(self, key: str) -> int:
        found = self.people[key].person
        assert found is not None
        return found

    def instrument_of(self, technician: str) -> str:
        """The label of what a technician measures with."""
        label = next(each.instrument for each in self.parameters.people if each.key == technician)
        assert label is not None
        return label


def written(row: Row) -> int:
    """The id of a row that has been written."""
    assert row.id is not None, row
    return row.id
