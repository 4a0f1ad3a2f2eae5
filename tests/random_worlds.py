"""Small hospitals to which anything may happen: devices under plans, and a list of deeds in the order in which they
were recorded, some of them long after their day. Written by `append` itself, so that a world costs little. Nobody and
nothing here exists."""

import datetime as dt
from collections.abc import Callable
from dataclasses import dataclass, field
from typing import Any
from zoneinfo import ZoneInfo

from hypothesis import strategies as st

from pmcore import models
from pmcore.models.rows import Row
from pmcore.queries.head import head
from pmcore.services.generate_due import generate_due
from tests.history import written

BEGINS = dt.date(2025, 1, 1)
LAST = 700  # days that the deeds are spread over
ZONES = ("America/Bogota", "America/Halifax")
STEPS = (("frame", "structure_and_fasteners"), ("brakes", "brakes_and_mobility"))
FACTORS = ("function", "harm")
LEVELS = ("slight", "grave")


@dataclass(frozen=True)
class Deed:
    """`on`: days after the beginning; `late`: days until it was recorded; `pick` chooses whatever is to be chosen."""

    verb: str
    device: int
    on: int
    late: int
    pick: int

    @property
    def recorded(self) -> int:
        return self.on + self.late


@dataclass(frozen=True)
class PlanSeed:
    every: int
    floating: bool
    before: int
    after: int
    wide: bool  # asks for the procedure that covers the other
    for_class: bool
    anchor: int | None
    on: int


@dataclass(frozen=True)
class DeviceSeed:
    on: int
    area: int
    ventilator: bool
    carried_over: int | None
    found_in_use: bool


@dataclass(frozen=True)
class WorldSeed:
    devices: list[DeviceSeed]
    plans: list[PlanSeed]
    deeds: list[Deed]
    sweep_every: int


@dataclass
class Base:
    """What is the same in every world."""

    sites: list[int] = field(default_factory=list)
    areas: list[int] = field(default_factory=list)
    person: int = 0
    classes: list[int] = field(default_factory=list)
    models: list[int] = field(default_factory=list)
    procedures: list[int] = field(default_factory=list)  # the narrow one, and the one that covers it
    versions: list[int] = field(default_factory=list)
    instrument: int = 0
    risk_table: int = 0


def opened(kind: str, thing: Any, facts: list[Row], **own: Any) -> int:
    """A thing with its facts, of which each names it in the first column of `about`."""
    row = Row(thing, **own)
    for fact in facts:
        fact.values[fact.model.about[0]] = row
    written(kind, row, row, *facts, at=moment(0))
    assert row.id is not None
    return row.id


def on_day(number: int) -> dt.date:
    return BEGINS + dt.timedelta(days=number)


def moment(number: int, hour: int = 12) -> dt.datetime:
    return dt.datetime.combine(on_day(number), dt.time(hour), dt.UTC)


def a_base() -> Base:
    base = Base()
    for label, zone in zip(("AG", "SP"), ZONES, strict=True):
        details = Row(models.SiteDetails, from_on=dt.date(2020, 1, 1), label=label, name=label, time_zone=zone)
        site = opened("site_opened", models.Site, [details])
        base.sites.append(site)
        area = Row(models.AreaDetails, from_on=BEGINS, name="Theatre 1", kind="theatre", closed=False)
        base.areas.append(opened("area_opened", models.Area, [area], site=site))
    holidays = [
        Row(models.SiteHoliday, site=base.sites[0], from_on=on_day(n), name="Free", working=False)
        for n in range(3, 2 * LAST, 9)
    ]
    written("holidays_set", base.sites[0], *holidays, at=moment(0))
    base.person = opened("person_registered", models.Person, [Row(models.PersonDetails, from_on=BEGINS, name="Ines")])
    for name, supports_life in (("Surgical table", False), ("Ventilator", True)):
        details = Row(models.ClassDetails, from_on=BEGINS, name=name, life_support=supports_life)
        base.classes.append(opened("class_registered", models.DeviceClass, [details]))
        details = Row(
            models.ModelDetails, from_on=BEGINS, maker="Orvane", name=name, device_class=base.classes[-1], mains=True,
            battery=False, manual=False,
        )  # fmt: skip
        base.models.append(opened("model_registered", models.DeviceModel, [details]))
    for name in ("Check", "Large check"):
        details = Row(models.ProcedureDetails, from_on=BEGINS, name=name, withdrawn=False)
        base.procedures.append(opened("procedure_registered", models.Procedure, [details]))
    for procedure in base.procedures:
        base.versions.append(_version(base, procedure))
    details = Row(
        models.InstrumentDetails, from_on=BEGINS, site=base.sites[0], label="M-1", maker="Orvane", model="Lux",
        serial="L-1", retired=False,
    )  # fmt: skip
    base.instrument = opened("instrument_registered", models.TestInstrument, [details])
    base.risk_table = _risk_table()
    return base


def _risk_table() -> int:
    """One grave factor makes no high risk, two do."""
    table = Row(models.RiskTable)
    values = Row(
        models.RiskTableValues, table=table, from_on=BEGINS, name="Two factors", source="Invented", included_from=0,
        high_risk_from=10,
    )  # fmt: skip
    points = [
        Row(models.RiskPoints, values=values, factor=factor, level=level, points=worth)
        for factor in FACTORS
        for level, worth in zip(LEVELS, (2, 6), strict=True)
    ]
    written("risk_table_named", table, table, values, *points, at=moment(0))
    assert table.id is not None
    return table.id


def sheet_rows(base: Base, version: Any, covered: list[int]) -> list[Row]:
    sheet = Row(models.ProcedureSheet, version=version, title="Check", minutes=30, people=1)
    steps = [
        Row(
            models.Step, sheet=sheet, number=number, key=key, kind="look", prompt="Sound?", mandatory=key != "label",
            not_applicable_allowed=key == "brakes", subsystem=subsystem,
        )
        for number, (key, subsystem) in enumerate([*STEPS, ("label", "accessories")])
    ]  # fmt: skip
    return [sheet, *steps, *(Row(models.CoveredProcedure, sheet=sheet, procedure=each) for each in covered)]


def _version(base: Base, procedure: int) -> int:
    version = Row(models.ProcedureVersion, procedure=procedure, number=1)
    covered = [] if procedure == base.procedures[0] else [base.procedures[0]]
    written("version_written", version, version, *sheet_rows(base, version, covered), at=moment(0))
    assert version.id is not None
    approval = Row(models.VersionApproval, version=version.id, from_on=BEGINS, approved=True, approved_by=base.person)
    written("version_approved", version.id, approval, at=moment(0))
    return version.id


@dataclass
class World:
    base: Base
    devices: list[int]
    plans: list[int]
    sizes: list[tuple[int, dt.date]] = field(default_factory=list)  # of the history, and the day on which it had it


def device_of(world: World, deed: Deed) -> int:
    return world.devices[deed.device % len(world.devices)]


def a_world(
    base: Base,
    seed: WorldSeed,
    deeds: dict[str, Callable[[World, Deed], None]],
    remembered: Callable[[int, dt.date], None] = lambda size, day: None,
) -> World:
    """Tell the world of the seed: devices and plans, then sweep by sweep and deed by deed as they were recorded. Three
    times it remembers the size of the history and the day, and calls `remembered` with them."""
    world = World(base, [], [])
    for number, device in enumerate(seed.devices):
        world.devices.append(_device(base, f"R-{number}", device))
    for plan in seed.plans:
        world.plans.append(_plan(base, plan))
    sweeps = [Deed("sweep", 0, number, 0, 0) for number in range(10, LAST + 60, seed.sweep_every)]
    told = sorted([*sweeps, *seed.deeds], key=lambda deed: deed.recorded)
    halves = {len(told) // 2, 3 * len(told) // 4, len(told) - 1}
    for number, deed in enumerate(told):
        if deed.verb == "sweep":
            for site in base.sites:
                generate_due(site=site, as_of=on_day(deed.on), at=moment(deed.on, 20))
        else:
            deeds[deed.verb](world, deed)
        if number in halves:
            world.sizes.append((head().size, on_day(deed.recorded)))
            remembered(*world.sizes[-1])
    return world


def _device(base: Base, serial: str, seed: DeviceSeed) -> int:
    device, on = Row(models.Device), on_day(seed.on)
    said: dict[str, Any] = {"device": device, "from_on": on}
    rows = [
        device,
        Row(models.DeviceIdentity, device=device, device_model=base.models[seed.ventilator], serial=serial),
        Row(models.DeviceOrigin, device=device, known_from_on=on, found_in_use=seed.found_in_use),
        Row(models.Placement, area=base.areas[seed.area], **said),
        Row(models.ServiceState, state="in_service", **said),
    ]
    if seed.carried_over is not None:
        done_on = on - dt.timedelta(days=seed.carried_over)
        rows.append(Row(models.CarriedOver, device=device, procedure=base.procedures[0], performed_on=done_on))
    written("device_registered", device, *rows, at=moment(seed.on))
    assert device.id is not None
    return device.id


def terms(base: Base, plan: Any, seed: PlanSeed, from_on: dt.date, *, ended: bool = False) -> Row:
    target = {"device_class": base.classes[0]} if seed.for_class else {"device_model": base.models[0]}
    return Row(
        models.PlanTerms, plan=plan, from_on=from_on, name="Regular", procedure=base.procedures[seed.wide],
        every=seed.every, unit="month", counts_from="floating" if seed.floating else "anchored",
        anchor_on=None if seed.anchor is None else on_day(seed.anchor), window="days", window_before=seed.before,
        window_after=seed.after, basis="maker", ended=ended, approved_by=base.person, **target,
    )  # fmt: skip


def _plan(base: Base, seed: PlanSeed) -> int:
    plan = Row(models.InspectionPlan)
    written("plan_made", plan, plan, terms(base, plan, seed, on_day(seed.on)), at=moment(seed.on))
    assert plan.id is not None
    return plan.id


def local_moment(site_area: int, on: dt.date, hour: int, minute: int) -> dt.datetime:
    """A moment of that day by the clock of the area's site."""
    site = models.Area.objects.get(pk=site_area).site_id
    zone = models.SiteDetails.objects.current().get(site=site).time_zone
    return dt.datetime.combine(on, dt.time(hour, minute), ZoneInfo(zone)).astimezone(dt.UTC)


# How worlds are drawn


def plan_seeds() -> st.SearchStrategy[PlanSeed]:
    """The window always fits into the interval."""
    every = st.sampled_from([1, 2, 3, 6, 6, 12, 12])
    return every.flatmap(
        lambda months: st.builds(
            PlanSeed,
            every=st.just(months),
            floating=st.booleans(),
            before=st.integers(0, min(13 * months, 40)),
            after=st.integers(0, min(13 * months, 40)),
            wide=st.booleans(),
            for_class=st.booleans(),
            anchor=st.none() | st.integers(-40, 400),
            on=st.sampled_from([0, 0, 0, 30, 200]),
        )
    )


def world_seeds(verbs: list[str]) -> st.SearchStrategy[WorldSeed]:
    deeds = st.builds(
        Deed,
        verb=st.sampled_from(verbs),
        device=st.integers(0, 2),
        on=st.integers(1, LAST),
        late=st.sampled_from([0, 0, 0, 1, 3, 8, 40, 120]),
        pick=st.integers(0, 2**16),
    )
    devices = st.builds(
        DeviceSeed,
        on=st.sampled_from([0, 0, 5, 100, 300]),
        area=st.sampled_from([0, 0, 1]),
        ventilator=st.sampled_from([False, False, False, True]),
        carried_over=st.none() | st.integers(0, 400),
        found_in_use=st.sampled_from([False, False, True]),
    )
    return st.builds(
        WorldSeed,
        devices=st.lists(devices, min_size=1, max_size=3),
        plans=st.lists(plan_seeds(), min_size=1, max_size=2),
        deeds=st.lists(deeds, min_size=12, max_size=40),
        sweep_every=st.sampled_from([61, 120, 200]),
    )
