"""What a technician needs at a device: the sheet to fill in, and what is known of the device before the first step."""

import datetime as dt
from collections.abc import Collection
from dataclasses import dataclass

from pmcore.engines.readings import Bounds
from pmcore.engines.records import Actor
from pmcore.engines.vocabulary import CalibrationOutcome, InspectionKind, Outcome
from pmcore.models import (
    Caution,
    InspectionSession,
    InstrumentDetails,
    ProcedureSheet,
    Reading,
    Step,
    VersionApproval,
)
from pmcore.queries.calibrations import calibrations, good_on
from pmcore.queries.device_labels import DeviceLabel
from pmcore.queries.device_places import DevicePlace, places_of
from pmcore.queries.due_list import DueItem, due_items
from pmcore.queries.early_work import EarlyWork, early_work
from pmcore.queries.figure_settings import FigureSettings
from pmcore.queries.holds import HoldInForce, holds_in_force
from pmcore.queries.inspections import CompletedInspection, completed
from pmcore.queries.sheets import LimitOnDay, SheetStep, limits_on, steps_of
from pmcore.queries.sites import SiteOnADay, sites_on
from pmcore.queries.would_meet import DueMet


@dataclass(frozen=True, slots=True)
class BenchStep:
    """One line to answer. `unit` and `bounds` as they hold on the day; `limit`: the row of the table they come from;
    `last_time`: what was found at the last complete inspection. `done_on`: answered in a session before this one."""

    step: SheetStep
    prompt: str
    minutes: int | None
    as_left_wanted: bool
    unit: str | None
    bounds: Bounds
    limit: str
    last_time: str | None
    done_on: dt.date | None


@dataclass(frozen=True, slots=True)
class Instrument:
    """`good_until`: None where it is not in calibration on the day."""

    instrument: int
    label: str
    name: str
    good_until: dt.date | None


@dataclass(frozen=True, slots=True)
class SheetFor:
    """What is to be done on which device; site by id and newest name (0 and "": nobody said). `item`: the due
    inspection that it is done for; None: none was chosen, and `meets` tells those that it meets all the same."""

    device: DeviceLabel
    device_class_name: str
    site: int
    site_name: str
    kind: InspectionKind
    procedure: int
    procedure_name: str
    item: DueItem | None = None
    meets: tuple[DueMet, ...] = ()


@dataclass(frozen=True, slots=True)
class BenchSheet:
    """`version` None: no version of the procedure is approved on the day. `begun`: an inspection that was left
    unfinished and can go on. `last`: the last complete inspection by the procedure. `time_zone` is that of the site.
    `early`: what work on the day is good for, where it comes before the window."""

    what: SheetFor
    place: DevicePlace
    time_zone: str
    holds: tuple[HoldInForce, ...]
    last: CompletedInspection | None
    version: int | None
    title: str
    minutes: int
    cautions: tuple[str, ...]
    steps: tuple[BenchStep, ...]
    instruments: tuple[Instrument, ...]
    begun: int | None
    early: EarlyWork | None


def bench_sheet(due_inspection: int, *, as_of: dt.date, known: int, actor: Actor) -> BenchSheet | None:
    """None: there is no such due inspection for the actor. A fixed number of statements, more of them before the window
    opens. Raises KnownBeyond."""
    found = due_items([due_inspection], as_of=as_of, known=known, actor=actor)
    if not found:
        return None
    item = found[0]
    what = SheetFor(
        item.device, item.device_class_name, item.site, item.site_name, InspectionKind.SCHEDULED, item.procedure,
        item.procedure_name, item,
    )  # fmt: skip
    return sheet_for(what, as_of=as_of, known=known)


def sheet_for(what: SheetFor, *, as_of: dt.date, known: int) -> BenchSheet:
    """For whoever may see the device."""
    device = what.device.device
    done = [each for each in completed([device], known) if each.procedure == what.procedure]
    version, title, minutes = _sheet_in_use(what.procedure, as_of, known)
    begun, answered = _begun(what, {each.inspection for each in done}, as_of, known)
    last = done[-1] if done else None
    site = next((each for each in sites_on(as_of) if each.site == what.site), None)
    return BenchSheet(
        what=what,
        place=places_of([device], on=as_of, known=known)[device],
        time_zone=_zone(site),
        holds=tuple(holds_in_force(device, as_of, known)),
        last=last,
        version=version,
        title=title,
        minutes=minutes,
        cautions=_cautions(version, known),
        steps=_steps(version, last, answered, as_of, known),
        instruments=_instruments(what.site, as_of, known),
        begun=begun,
        early=None if what.item is None else early_work(what.item, on=as_of, known=known),
    )


def _zone(site: SiteOnADay | None) -> str:
    return "UTC" if site is None else site.time_zone


def _sheet_in_use(procedure: int, as_of: dt.date, known: int) -> tuple[int | None, str, int]:
    """The approved version with the highest number, its title and minutes."""
    approved = VersionApproval.objects.known(known).on(as_of).filter(approved=True, version__procedure=procedure)
    version = approved.order_by("-version__number").values_list("version_id", flat=True).first()
    sheet = ProcedureSheet.objects.known(known).filter(version=version or 0).values_list("title", "minutes").first()
    return (None, "", 0) if sheet is None else (version, *sheet)


def _cautions(version: int | None, known: int) -> tuple[str, ...]:
    rows = Caution.objects.known(known).filter(sheet__version=version or 0).order_by("number", "id")
    return tuple(rows.values_list("prompt", flat=True))


def _begun(
    what: SheetFor, complete: Collection[int], as_of: dt.date, known: int
) -> tuple[int | None, dict[str, dt.date]]:
    """The newest unfinished inspection whose parts still count together, and the steps answered in it. A test after a
    repair in which something failed is done anew: what failed has to be answered again."""
    since = as_of - dt.timedelta(days=FigureSettings(known).on("restart_days", as_of))
    sessions = InspectionSession.objects.known(known).filter(
        inspection__device=what.device.device, version__procedure=what.procedure, kind=what.kind,
        performed_on__gte=since, performed_on__lte=as_of,
    )  # fmt: skip
    rows = sessions.exclude(inspection__in=list(complete)).order_by("performed_at", "id")
    begun = rows.values_list("inspection_id", flat=True).last()
    lines = Reading.objects.known(known).filter(session__in=sessions.filter(inspection=begun or 0).order_by())
    lines = lines.exclude(outcome=Outcome.NOT_TESTED).order_by("id")
    answers = list(lines.values_list("step", "session__performed_on", "outcome"))
    if what.kind == InspectionKind.AFTER_REPAIR and any(outcome == Outcome.FAILED for *_, outcome in answers):
        return None, {}
    return begun, {step: on for step, on, _ in answers}


def _steps(
    version: int | None, last: CompletedInspection | None, answered: dict[str, dt.date], as_of: dt.date, known: int
) -> tuple[BenchStep, ...]:
    steps = steps_of([version or 0], known).get(version or 0, ())
    limits = limits_on({step.limit for step in steps if step.limit is not None}, as_of, known)
    rows = Step.objects.known(known).filter(sheet__version=version or 0)
    prompts = {key: rest for key, *rest in rows.values_list("key", "prompt", "minutes", "as_left_wanted")}
    before = _last_found(last, known)
    return tuple(
        _step(step, limits.get(step.limit or 0), prompts[step.key], before.get(step.key), answered.get(step.key))
        for step in steps
    )


def _step(
    step: SheetStep, limit: LimitOnDay | None, said: list[object], last_time: str | None, done_on: dt.date | None
) -> BenchStep:
    prompt, minutes, as_left = said
    assert isinstance(prompt, str) and (minutes is None or isinstance(minutes, int))
    unit = step.unit or (limit.unit if limit else None)
    source = limit.source if limit else ""
    return BenchStep(step, prompt, minutes, bool(as_left), unit, step.bounds(limit), source, last_time, done_on)


def _last_found(last: CompletedInspection | None, known: int) -> dict[str, str]:
    """Of each step that was read the last time, the number and its unit."""
    rows = Reading.objects.known(known).filter(
        session__inspection=last.inspection if last else 0, as_found__isnull=False
    )
    values = rows.order_by("id").values_list("step", "as_found", "unit")
    return {step: f"{number} {unit or ''}".strip() for step, number, unit in values}


def _instruments(site: int, as_of: dt.date, known: int) -> tuple[Instrument, ...]:
    """Of the site, by label; each with the day until which it is good."""
    history = calibrations(known)
    rows = InstrumentDetails.objects.known(known).on(as_of).filter(site=site, retired=False).order_by("label")
    found = []
    for instrument, label, maker, model in rows.values_list("instrument_id", "label", "maker", "model"):
        own = [each for each in history.get(instrument, []) if each.performed_on <= as_of]
        usable = good_on(own, as_of) and own[-1].outcome != CalibrationOutcome.OUT_OF_TOLERANCE
        found.append(Instrument(instrument, label, f"{maker} {model}", own[-1].good_until_on if usable else None))
    return tuple(found)
