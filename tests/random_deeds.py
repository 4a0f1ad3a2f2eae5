"""What may happen in a random world. A deed for which there is nothing to do does nothing."""

import datetime as dt
from collections.abc import Callable
from dataclasses import replace
from typing import Any

from pmcore import models
from pmcore.models.rows import Row
from tests.history import written
from tests.random_comings import COMINGS
from tests.random_worlds import (
    FACTORS,
    LEVELS,
    Deed,
    PlanSeed,
    World,
    device_of,
    local_moment,
    moment,
    on_day,
    sheet_rows,
    terms,
)

HOURS = ((10, 0), (23, 50), (0, 20))
CODES = ("with_a_patient", "could_not_be_found", "area_gave_no_access", "waiting_for_a_part", "no_usable_control",
         "departure_recorded_after_close")  # fmt: skip


def write(kind: str, subject: Any, deed: Deed, *rows: Row, **options: Any) -> None:
    """As recorded: some at an hour when it is already tomorrow at one of the sites, or still yesterday."""
    written(kind, subject, *rows, at=moment(deed.recorded, (2, 12, 21)[deed.pick % 3]), **options)


def choose(choices: Any, deed: Deed) -> Any:
    found = list(choices)
    return found[deed.pick % len(found)] if found else None


def dues(world: World, deed: Deed) -> list[Any]:
    """Those whose windows are open on the day; else the last two that have opened."""
    opened = models.DueInspection.objects.filter(device=device_of(world, deed), opens_on__lte=on_day(deed.on))
    newest = list(opened.order_by("-due_on", "pk")[:4])
    return [due for due in newest if due.closes_on >= on_day(deed.on)] or newest[:2]


def session_rows(world: World, deed: Deed, inspection: Any, on: dt.date, steps: list[str]) -> list[Row]:
    """One stretch of work on the day, at the site where the device stood."""
    placed = models.Placement.objects.current().on(on).filter(device=device_of(world, deed)).first()
    area = placed.area_id if placed else world.base.areas[0]
    done_at = local_moment(area, on, *HOURS[deed.pick % 3])
    version = world.base.versions[deed.pick // 3 % 2]
    kind = ("scheduled", "scheduled", "scheduled", "after_repair", "incoming")[deed.pick // 6 % 5]
    session = Row(
        models.InspectionSession, inspection=inspection, kind=kind, version=version, person=world.base.person,
        site=models.Area.objects.get(pk=area).site_id, started_at=done_at, ended_at=done_at, performed_at=done_at,
        performed_on=on,
    )  # fmt: skip
    return [session, *(_reading(world, deed, session, step) for step in steps)]


def _reading(world: World, deed: Deed, session: Row, step: str) -> Row:
    outcome = ("passed",) * 9 + ("failed", "not_applicable", "not_tested", "protective_function_operated")
    instrument = world.base.instrument if deed.pick // 30 % 4 == 0 and step == "brakes" else None
    word = outcome[(deed.pick // 120 + len(step)) % len(outcome)]
    return Row(models.Reading, session=session, step=step, outcome=word, instrument=instrument)


def inspect(world: World, deed: Deed) -> None:
    inspection = Row(models.Inspection, device=device_of(world, deed))
    rows = [inspection, *session_rows(world, deed, inspection, on_day(deed.on), ["frame", "brakes"])]
    plan = choose(world.plans, deed)
    anchored = models.PlanAnchor.objects.current().filter(device=device_of(world, deed), from_on=on_day(deed.on))
    if deed.pick // 7 % 4 == 0 and not anchored.exists():
        said = {"device": device_of(world, deed), "from_on": on_day(deed.on), "anchor_on": on_day(deed.on)}
        rows.append(Row(models.PlanAnchor, plan=plan, **said))
    write("inspection_recorded", device_of(world, deed), deed, *rows)


def inspect_in_parts(world: World, deed: Deed) -> None:
    device, inspection = device_of(world, deed), Row(models.Inspection, device=device_of(world, deed))
    rows = session_rows(world, deed, inspection, on_day(deed.on), ["frame"])
    write("inspection_recorded", device, deed, inspection, *rows)
    second = replace(deed, on=deed.on + (0, 3, 14, 15, 30)[deed.pick % 5])
    steps = ["brakes"] if deed.pick // 5 % 2 else ["frame", "brakes"]
    write("inspection_recorded", device, second, *session_rows(world, second, inspection.id, on_day(second.on), steps))


def _session(world: World, deed: Deed) -> Any:
    sessions = models.InspectionSession.objects.current().filter(inspection__device=device_of(world, deed))
    return choose(sessions.order_by("-pk"), deed)


def correct_session(world: World, deed: Deed) -> None:
    wrong = _session(world, deed)
    if wrong is not None:
        on = wrong.performed_on + dt.timedelta(days=deed.pick // 11 % 41 - 20)
        steps = ["frame", "brakes"] if deed.pick % 4 else ["frame"]
        rows = session_rows(world, deed, wrong.inspection_id, min(on, on_day(deed.recorded)), steps)
        write("inspection_recorded", device_of(world, deed), deed, *rows, replaces=[wrong])


def take_back_session(world: World, deed: Deed) -> None:
    wrong = _session(world, deed)
    if wrong is not None:
        anchors = models.PlanAnchor.objects.current().filter(entry=wrong.entry, device=device_of(world, deed))
        write("inspection_recorded", device_of(world, deed), deed, replaces=[wrong, *anchors])


def attempt(world: World, deed: Deed) -> None:
    due = choose(dues(world, deed), deed)
    if due is None:
        return
    outcomes = ("not_found", "not_found", "with_a_patient", "no_access")
    for number, after in enumerate((0, (1, 5, 20)[deed.pick % 3])):
        on = deed.on + after
        said = {"outcome": outcomes[(deed.pick // 9 + number * (deed.pick % 2)) % 4], "tried_by": world.base.person}
        row = Row(models.Attempt, due_inspection=due.pk, tried_at=moment(on), tried_on=on_day(on), **said)
        write("attempt_made", due.device_id, replace(deed, on=on), row)


def take_back_attempt(world: World, deed: Deed) -> None:
    made = models.Attempt.objects.current().filter(due_inspection__device=device_of(world, deed)).order_by("pk")
    wrong = choose(made, deed)
    if wrong is not None:
        write("attempt_made", device_of(world, deed), deed, replaces=[wrong])


def give_reason(world: World, deed: Deed) -> None:
    due = choose(dues(world, deed), deed)
    code = CODES[deed.pick // 5 % len(CODES)]
    if due is None or models.ReasonNotDone.objects.current().filter(due_inspection=due, from_on=on_day(deed.on)):
        return
    hold = None
    if code in {"waiting_for_a_part", "no_usable_control"}:
        hold = choose(models.Hold.objects.filter(device=due.device_id).order_by("pk"), deed)
        if hold is None:
            return
    row = Row(models.ReasonNotDone, due_inspection=due.pk, from_on=on_day(deed.on), reason=code, hold=hold and hold.pk)
    write("reason_recorded", due.device_id, deed, row)


def take_back_reason(world: World, deed: Deed) -> None:
    given = models.ReasonNotDone.objects.current().filter(due_inspection__device=device_of(world, deed))
    wrong = choose(given.order_by("pk"), deed)
    if wrong is not None:
        write("reason_recorded", device_of(world, deed), deed, replaces=[wrong])


def hold(world: World, deed: Deed) -> None:
    placed = Row(models.Hold, device=device_of(world, deed))
    details = Row(models.HoldDetails, hold=placed, from_on=on_day(deed.on), reason="waiting_for_a_part")
    write("hold_placed", device_of(world, deed), deed, placed, details)


def take_back_hold(world: World, deed: Deed) -> None:
    placed = models.HoldDetails.objects.current().filter(hold__device=device_of(world, deed)).order_by("pk")
    wrong = choose(placed, deed)
    if wrong is not None:
        write("hold_placed", device_of(world, deed), deed, replaces=[wrong])


def release(world: World, deed: Deed) -> None:
    held = choose(models.Hold.objects.filter(device=device_of(world, deed)).order_by("pk"), deed)
    if held is not None:
        signed = Row(models.Release, device=held.device_id)
        statement = Row(
            models.ReleaseStatement, release=signed, signed_at=moment(deed.on), signed_on=on_day(deed.on),
            signed_by=world.base.person,
        )  # fmt: skip
        lifted = Row(models.ReleasedHold, statement=statement, hold=held.pk)
        write("release_signed", held.device_id, deed, signed, statement, lifted)


def move(world: World, deed: Deed) -> None:
    row = Row(models.Placement, device=device_of(world, deed), from_on=on_day(deed.on), area=_area(world, deed))
    write("device_placed", device_of(world, deed), deed, row)


def correct_move(world: World, deed: Deed) -> None:
    placed = models.Placement.objects.current().filter(device=device_of(world, deed)).order_by("-pk")
    wrong = choose(placed, deed)
    on = wrong.from_on + dt.timedelta(days=deed.pick % 31 - 15)
    row = Row(models.Placement, device=device_of(world, deed), from_on=on, area=_area(world, deed))
    write("device_placed", device_of(world, deed), deed, row, replaces=[wrong])


def _area(world: World, deed: Deed) -> int:
    return world.base.areas[deed.pick // 31 % 2]


def _state(world: World, deed: Deed, **said: Any) -> None:
    device = device_of(world, deed)
    if not models.ServiceState.objects.current().filter(device=device, from_on__gt=on_day(deed.on)).exists():
        row = Row(models.ServiceState, device=device, from_on=on_day(deed.on), **said)
        write("service_state_set", device, deed, row)


def store(world: World, deed: Deed) -> None:
    _state(world, deed, state="stored", sealed=deed.pick % 4 != 0, in_hand=deed.pick % 5 != 0)


def bring_back(world: World, deed: Deed) -> None:
    _state(world, deed, state="in_service")


def leave(world: World, deed: Deed) -> None:
    _state(world, deed, state="left", departure="sold")


def correct_state(world: World, deed: Deed) -> None:
    device = device_of(world, deed)
    wrong = models.ServiceState.objects.current().filter(device=device).order_by("-from_on", "-pk").first()
    if wrong is None:
        return
    if deed.pick % 3 == 0:
        write("service_state_set", device, deed, replaces=[wrong])
        return
    on = wrong.from_on + dt.timedelta(days=deed.pick % 41 - 20)
    said = {name: getattr(wrong, name) for name in ("state", "sealed", "in_hand", "departure")}
    row = Row(models.ServiceState, device=device, from_on=on, **said)
    write("service_state_set", device, deed, row, replaces=[wrong])


def change_plan(world: World, deed: Deed) -> None:
    """From the day on which it is recorded."""
    plan, on = choose(world.plans, deed), on_day(deed.recorded)
    same_day = models.PlanTerms.objects.current().filter(plan=plan, from_on=on)
    begun = models.PlanTerms.objects.current().filter(plan=plan, from_on__lt=on)
    standing = begun.order_by("-from_on").first()
    if standing is not None and not same_day.exists():
        number = deed.pick // 3
        seed = PlanSeed(
            every=(1, 2, 3, 6, 12)[number % 5], floating=number // 5 % 2 == 0, before=number // 10 % 14,
            after=number // 140 % 14, wide=number // 7 % 2 == 0,
            for_class=number // 9 % 3 == 0, anchor=(None, 10, 40)[number // 11 % 3], on=0,
        )  # fmt: skip
        write("plan_changed", plan, deed, terms(world.base, plan, seed, on, ended=deed.pick % 6 == 0))


def anchor_plan(world: World, deed: Deed) -> None:
    device, plan, on = device_of(world, deed), choose(world.plans, deed), on_day(deed.recorded)
    anchored = models.PlanAnchor.objects.current().filter(device=device, plan=plan, from_on=on)
    if not anchored.exists():
        anchor_on = on + dt.timedelta(days=deed.pick // 5 % 61 - 30)
        row = Row(models.PlanAnchor, plan=plan, device=device, from_on=on, anchor_on=anchor_on)
        write("plan_anchored", device, deed, row)


def override_risk(world: World, deed: Deed) -> None:
    device, on = device_of(world, deed), on_day(deed.on)
    if not models.RiskOverride.objects.current().filter(device=device, from_on=on).exists():
        risk = ("life_support", "high_risk", "high_risk", "other", None)[deed.pick % 5]
        said = {"from_on": on, "risk_class": risk, "reason": "Its use.", "signed_by": world.base.person}
        write("risk_overridden", device, deed, Row(models.RiskOverride, device=device, **said))


def assess_class(world: World, deed: Deed) -> None:
    """The class of the tables scores high, or not."""
    scored, on = world.base.classes[deed.pick // 3 % 4 == 0], on_day(deed.on)
    if not models.RiskAssessment.objects.current().filter(device_class=scored, from_on=on).exists():
        said = {"from_on": on, "table": world.base.risk_table, "assessed_by": world.base.person}
        assessment = Row(models.RiskAssessment, device_class=scored, **said)
        picked = zip(FACTORS, (deed.pick % 2, deed.pick // 2 % 2), strict=True)
        scores = [Row(models.RiskScore, assessment=assessment, factor=f, level=LEVELS[n]) for f, n in picked]
        write("risk_assessed", scored, deed, assessment, *scores)


def take_back_assessment(world: World, deed: Deed) -> None:
    wrong = choose(models.RiskAssessment.objects.current().order_by("pk"), deed)
    if wrong is not None:
        write("risk_assessed", wrong.device_class_id, deed, replaces=[wrong])


def turn_withdrawal(world: World, deed: Deed) -> None:
    said = models.Withdrawal.objects.current().filter(due_inspection__device=device_of(world, deed))
    last = choose(said.order_by("-from_on", "-pk"), deed)
    if last is not None and deed.pick % 2:
        write("due_withdrawn", device_of(world, deed), deed, replaces=[last])


def cover(world: World, deed: Deed) -> None:
    """The sheet of the large procedure is written again: it covers the other, or does not."""
    wrong = models.ProcedureSheet.objects.current().get(version=world.base.versions[1])
    covered = world.base.procedures[:1] if deed.pick % 2 else []
    rows = sheet_rows(world.base, world.base.versions[1], covered)
    write("version_written", world.base.versions[1], deed, *rows, replaces=[wrong])


def calibrate(world: World, deed: Deed) -> None:
    outcome = ("in_tolerance", "in_tolerance", "out_of_tolerance_and_adjusted", "out_of_tolerance")[deed.pick % 4]
    until = on_day(deed.on + (90, 365)[deed.pick // 4 % 2])
    row = Row(
        models.Calibration, instrument=world.base.instrument, performed_on=on_day(deed.on), good_until_on=until,
        outcome=outcome,
    )  # fmt: skip
    write("instrument_calibrated", world.base.instrument, deed, row)


def repair(world: World, deed: Deed) -> None:
    done = Row(models.Repair, device=device_of(world, deed))
    at = moment(deed.on)
    details = Row(
        models.RepairDetails, repair=done, started_at=at, ended_at=at, performed_on=on_day(deed.on), account="Mended.",
        person=world.base.person,
    )  # fmt: skip
    write("repair_done", device_of(world, deed), deed, done, details)


DEEDS: dict[str, Callable[[World, Deed], None]] = {
    deed.__name__: deed
    for deed in (
        inspect, inspect_in_parts, correct_session, take_back_session, attempt, take_back_attempt, give_reason,
        take_back_reason, hold, take_back_hold, release, move, correct_move, store, bring_back, leave, correct_state,
        change_plan, anchor_plan, override_risk, assess_class, take_back_assessment, turn_withdrawal, cover, calibrate,
        repair, *COMINGS,
    )
}  # fmt: skip

_OFTEN = {
    "inspect": 14,
    "inspect_in_parts": 2,
    "attempt": 6,
    "give_reason": 4,
    "calibrate": 2,
    "store": 2,
    "leave": 1,
    "assess_class": 2,
    "lend": 2,
    "receive": 3,
    "change_ownership": 1,
    "swap": 6,
}
VERBS = [*DEEDS, *(verb for verb, times in _OFTEN.items() for _ in range(times))]
