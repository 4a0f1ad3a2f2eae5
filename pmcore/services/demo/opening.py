"""The first day: sites, people, catalogue, sheets, plans, instruments, and the devices as they were taken over."""

import datetime as dt
from collections.abc import Iterable, Iterator
from typing import Any

from pmcore.engines.due_dates import Window, add_interval
from pmcore.engines.records import SYSTEM, Actor
from pmcore.engines.vocabulary import (
    AreaKind,
    Basis,
    CalibrationOutcome,
    EnergySource,
    OwnershipKind,
    PlanBasis,
    Role,
    StepKind,
    Subsystem,
    Unit,
    WindowKind,
)
from pmcore.models import Calibration, CarriedOver, InstrumentDetails, PlanAnchor, TestInstrument
from pmcore.models.rows import Row
from pmcore.services.alert_rules import make_default_rules
from pmcore.services.append import append_in_batches
from pmcore.services.catalogue import register_class, register_model, register_revision
from pmcore.services.demo.diary import MORNING, Diary, moment
from pmcore.services.demo.fleet import Machine
from pmcore.services.demo.parameters import ClassPlan, InstrumentPlan, PersonPlan, SheetPlan, StepPlan
from pmcore.services.demo.streams import stream
from pmcore.services.demo.world import World, written
from pmcore.services.devices import Arrival, opening_rows
from pmcore.services.figure_settings import set_window
from pmcore.services.people import register_person, register_provider
from pmcore.services.plans import make_plan
from pmcore.services.preparation import Draft
from pmcore.services.procedures import approve_version, register_procedure, write_version
from pmcore.services.risk import assess_class, name_risk_table
from pmcore.services.sites import open_area, open_site, set_holidays
from pmcore.services.steps import StepLine

SHORT_SHEET = 2  # steps, where there are very many devices


def open_health_system(world: World, *, short_sheets: bool) -> None:
    """Everything but the devices, on the morning of the first day."""
    on_the_first: dict[str, Any] = {"from_on": world.begins_on, "actor": SYSTEM, "at": moment(world.begins_on, MORNING)}
    _open_sites(world, on_the_first)
    _register_people(world, on_the_first)
    _set_windows(world, on_the_first)
    make_default_rules(**on_the_first)
    _register_catalogue(world, on_the_first)
    by_manager = {**on_the_first, "actor": world.people["manager"]}
    for sheet in world.parameters.sheets.values():
        _write_sheet(world, sheet, by_manager, SHORT_SHEET if short_sheets else len(sheet.steps))
    for device_class in world.parameters.classes:
        _make_plans(world, device_class, by_manager)


def _open_sites(world: World, on: dict[str, Any]) -> None:
    for site in world.parameters.sites:
        opened = open_site(label=site.label, name=site.name, time_zone=site.time_zone, working=site.working, **on)
        world.sites[site.label] = opened.subject
        set_holidays(site=opened.subject, days=world.parameters.holidays, actor=on["actor"], at=on["at"])
        for name, kind in site.areas:
            area = open_area(site=opened.subject, name=name, kind=AreaKind(kind), **on)
            world.areas[site.label, name] = area.subject


def _register_people(world: World, on: dict[str, Any]) -> None:
    for key, name in world.parameters.providers.items():
        world.providers[key] = register_provider(name=name, **on).subject
    for person in world.parameters.people:
        sites = [world.sites[label] for label in person.sites]
        firm = None if person.firm is None else world.providers[person.firm]
        role = Role(person.role)
        receipt = register_person(name=person.name, role=role, sites=sites, provider=firm, email=_address(person), **on)
        world.people[person.key] = Actor(receipt.subject, role, frozenset(sites))


def _address(person: PersonPlan) -> str:
    """At a domain that nobody can have."""
    return f"{person.key}@quillmere.example"


def _set_windows(world: World, on: dict[str, Any]) -> None:
    for row in world.parameters.windows:
        in_days = row["kind"] == WindowKind.DAYS
        window = Window.days(row["before"], row["after"]) if in_days else Window.calendar_month()
        set_window(every=row["every"], unit=Unit.MONTH, window=window, source="common practice, no source", **on)


def _register_catalogue(world: World, on: dict[str, Any]) -> None:
    by_manager = {**on, "actor": world.people["manager"]}
    risk = world.parameters.risk
    points = {(factor, level): worth for factor, levels in risk["points"].items() for level, worth in levels.items()}
    table = name_risk_table(
        name=risk["name"], source=risk["source"], points=points, included_from=risk["included_from"],
        high_risk_from=risk["high_risk_from"], **by_manager,
    ).subject  # fmt: skip
    for device_class in world.parameters.classes:
        receipt = register_class(name=device_class.name, life_support=device_class.life_support, **on)
        world.classes[device_class.key] = receipt.subject
        assess_class(
            device_class=receipt.subject, table=table, levels=device_class.risk,
            assessed_by=world.person("manager"), **by_manager,
        )  # fmt: skip
        for model in device_class.every_model():
            registered = register_model(
                maker=model.maker, name=model.name, device_class=receipt.subject,
                energy_sources=[EnergySource(each) for each in model.energy], **on,
            ).subject  # fmt: skip
            world.models[model.maker, model.name] = registered
            for label in model.revisions:
                revision = register_revision(device_model=registered, label=label, **on)
                world.revisions[model.maker, model.name, label] = revision.subject


def _write_sheet(world: World, sheet: SheetPlan, by_manager: dict[str, Any], most: int) -> None:
    said = {"actor": by_manager["actor"], "at": by_manager["at"]}
    procedure = register_procedure(name=sheet.name, **by_manager).subject
    steps = sheet.steps[:most]
    version = write_version(
        procedure=procedure, number=1, title=sheet.name, minutes=sheet.minutes, people=sheet.people,
        steps=[_line(step) for step in steps], cautions=sheet.cautions,
        source="invented for the demonstration", **said,
    ).subject  # fmt: skip
    approve_version(version=version, approved_by=world.person("manager"), **by_manager)
    world.procedures[sheet.key], world.versions[sheet.key] = procedure, version
    world.steps[sheet.key] = steps


def _line(step: StepPlan) -> StepLine:
    measures = step.kind == StepKind.MEASURE
    return StepLine(
        key=step.key,
        kind=StepKind(step.kind),
        prompt=step.prompt,
        subsystem=None if step.subsystem is None else Subsystem(step.subsystem),
        unit=step.unit,
        low=step.low,
        high=step.high,
        as_left_wanted=True if measures else None,
        instrument_wanted=True if measures else None,
    )


def _make_plans(world: World, device_class: ClassPlan, by_manager: dict[str, Any]) -> None:
    for plan in device_class.plans:
        world.plans[plan.key] = make_plan(
            name=plan.name,
            device_class=world.classes[device_class.key],
            procedure=world.procedures[plan.procedure],
            every=plan.every,
            unit=Unit.MONTH,
            counts_from=Basis.FLOATING if plan.floating else Basis.ANCHORED,
            window=None,
            basis=PlanBasis.MAKER,
            approved_by=world.person("manager"),
            **by_manager,
        ).subject


# Instruments


def register_instruments(world: World, diary: Diary) -> None:
    """Those that the technicians carry, calibrated every year."""
    for plan in world.parameters.instruments:
        days = list(_calibration_days(plan, world.begins_on, world.ends_on))
        note_instrument(world, diary, plan.label, plan.site, from_on=world.begins_on, calibrated_on=days[0])
        for day in days[1:]:
            note_calibration(world, diary, plan.label, day, CalibrationOutcome.IN_TOLERANCE)


def note_instrument(
    world: World, diary: Diary, label: str, site: str, *, from_on: dt.date, calibrated_on: dt.date
) -> None:
    """An instrument comes, calibrated on that day."""
    instrument = world.instruments[label] = Row(TestInstrument)
    details = Row(
        InstrumentDetails, instrument=instrument, from_on=from_on, site=world.sites[site], label=label,
        maker=world.parameters.instrument_maker, model=world.parameters.instrument_model, serial=f"T-{label}",
        retired=False,
    )  # fmt: skip
    rows = [instrument, details, _calibration(instrument, calibrated_on, CalibrationOutcome.IN_TOLERANCE, label)]
    diary.note(from_on, MORNING, SYSTEM, lambda: Draft("instrument_registered", instrument, rows))


def note_calibration(world: World, diary: Diary, label: str, on: dt.date, outcome: CalibrationOutcome) -> None:
    instrument = world.instruments[label]
    diary.note(
        on,
        MORNING,
        SYSTEM,
        lambda: Draft(
            "instrument_calibrated", written(instrument), [_calibration(written(instrument), on, outcome, label)]
        ),
    )


def _calibration(instrument: int | Row, on: dt.date, outcome: CalibrationOutcome, label: str) -> Row:
    return Row(
        Calibration, instrument=instrument, performed_on=on, good_until_on=add_interval(on, 13, Unit.MONTH),
        outcome=outcome, certificate=f"{label}/{on:%Y-%m}",
    )  # fmt: skip


def _calibration_days(plan: InstrumentPlan, begins_on: dt.date, ends_on: dt.date) -> Iterator[dt.date]:
    """The last before the beginning, then one a year."""
    year = begins_on.year - (plan.month >= begins_on.month)
    while (day := dt.date(year, plan.month, 14)) <= ends_on:
        yield day
        year += 1


# Devices


def take_over_devices(world: World) -> Iterator[int]:
    """All devices, then the days from which their plans count; yields how many devices there are by then."""
    at = moment(world.begins_on, MORNING)
    registered = 0
    for receipts in append_in_batches(_registrations(world), actor=SYSTEM, at=at):
        registered += len(receipts)
        yield registered
    for _ in append_in_batches(_anchors(world), actor=SYSTEM, at=at):
        yield registered


def _registrations(world: World) -> Iterable[Draft]:
    ages = stream(world.seed, "ages")
    for machine in world.fleet:
        area = world.areas[machine.site, machine.area]
        rows = opening_rows(
            world.models[machine.model.maker, machine.model.name],
            machine.serial,
            Arrival(area, world.begins_on, OwnershipKind.OWNED, tag=machine.tag),
            acquired_on=world.begins_on - dt.timedelta(days=ages.randint(100, 3_000)),
        )
        world.devices[machine.number] = rows[0]
        yield Draft("device_registered", rows[0], [*rows, *_carried_over(world, machine, rows[0])])


def _carried_over(world: World, machine: Machine, device: Row) -> Iterator[Row]:
    """A floating plan counts from what was done before the record began."""
    for plan in machine.device_class.plans:
        if plan.floating:
            procedure = world.procedures[plan.procedure]
            yield Row(CarriedOver, device=device, procedure=procedure, performed_on=machine.counts_from[plan.key])


def _anchors(world: World) -> Iterator[Draft]:
    for machine in world.fleet:
        device = world.device(machine)
        rows = [
            Row(
                PlanAnchor, plan=world.plans[plan.key], device=device, from_on=world.begins_on,
                anchor_on=machine.counts_from[plan.key],
            )
            for plan in machine.device_class.plans
            if not plan.floating
        ]  # fmt: skip
        if rows:
            yield Draft("plan_anchored", device, rows)
