"""What one plan means for one device: from when it counts, from which day its clock runs, and what was done since."""

import datetime as dt
from collections.abc import Sequence
from dataclasses import dataclass

from pmcore.engines.coverage import Aim
from pmcore.engines.crediting import Performed
from pmcore.engines.due_changes import Former
from pmcore.engines.due_dates import IntervalRule, add_interval
from pmcore.engines.due_generation import Covered
from pmcore.engines.records import Inspected
from pmcore.engines.usage import NoReadingThen, UsageError, usage_due_on, value_on
from pmcore.engines.vocabulary import Basis, InspectionKind
from pmcore.queries.due_scope import Meter, ScopeDevice, Stay
from pmcore.queries.inspections import CompletedInspection
from pmcore.queries.plans import FormerTerms, PlanTermsRecord
from pmcore.queries.procedures import Covering


@dataclass(frozen=True, slots=True)
class Background:
    """What is read once for all devices of a site: `former`, the terms of all plans by then, the newest first."""

    covering: Covering
    former: Sequence[FormerTerms]
    meters: dict[tuple[int, str], Meter]
    as_of: dt.date


def covers(plan: PlanTermsRecord | FormerTerms, device: ScopeDevice) -> bool:
    """Is the plan for the device?"""
    aim = Aim(plan.device, plan.device_model, plan.device_class)
    return aim.meets(device.device, device.device_model, device.device_class)


def covered_by(
    plan: PlanTermsRecord, device: ScopeDevice, done: Sequence[CompletedInspection], background: Background
) -> Covered:
    """The plan's terms on a device. Its own beginning is the first incoming inspection after it came, by whatever
    procedure. What a device that is not ours is not here for long enough to need, is not called for."""
    own_anchor = device.anchors.get(plan.plan)
    stays_since = _stays_since(plan.rule, device)
    starts_on = max(
        [plan.from_on, device.arrived_on, *([own_anchor[1]] if own_anchor else []), *filter(None, [stays_since])]
    )
    incoming = [
        d.performed_on for d in done if d.kind == InspectionKind.INCOMING and d.performed_on >= device.arrived_on
    ]
    beginning = incoming[:1]
    own = [d.performed_on for d in done if background.covering.does(d, plan.procedure)]
    carried = [device.carried_over[plan.procedure]] if plan.procedure in device.carried_over else []
    clock = [*(day for day in own if day <= starts_on), *beginning, *carried]
    last_met = max(clock, default=None)
    since = [day for day in own if day > starts_on and day not in beginning]
    return Covered(
        rule=plan.rule,
        anchor=own_anchor[0] if own_anchor else plan.anchor_on or device.arrived_on,
        starts_on=starts_on,
        last_met=last_met,
        inspected=[Inspected(day) for day in since],
        at_once=device.found_in_use and not clock,
        ended_on=_ended_on(plan, device),
        told_on=device.owned[-1].told_on if _is_short(plan, device) else dt.date.min,
        former=_former(plan, device, clock, background),
        usage_day=_usage_day(plan, device, [*since, *clock], background),
        performed=_performed(own_anchor[0], own, carried) if own_anchor else (),
        begins_on=device.arrived_on,
        procedure=plan.procedure,
    )


def _performed(anchor_on: dt.date, done: Sequence[dt.date], carried: Sequence[dt.date]) -> list[Performed]:
    ours = [Performed(at, day, re_anchors=day == anchor_on) for at, day in enumerate(done)]
    return ours + [Performed(-1, day, does=frozenset()) for day in carried]


def _stays_since(rule: IntervalRule, device: ScopeDevice) -> dt.date | None:
    """The day on which a short stay became a long one; None: it was long from the beginning, or still is short."""
    for stay, before in zip(device.owned[::-1], device.owned[-2::-1], strict=False):
        if not _is_long(stay, rule, device.arrived_on):
            return None
        if not _is_long(before, rule, device.arrived_on):
            return stay.from_on
    return None


def _is_long(stay: Stay, rule: IntervalRule, arrived_on: dt.date) -> bool:
    return stay.ours or stay.until_on is None or stay.until_on > add_interval(arrived_on, rule.every, rule.unit)


def _ended_on(plan: PlanTermsRecord, device: ScopeDevice) -> dt.date | None:
    """The day after which no window opens any more: the plan's end, or the device's short stay, whichever was first."""
    ends = [plan.from_on] if plan.ended else []
    if _is_short(plan, device):
        ends.append(_short_from(plan, device))
    return min(ends, default=None)


def _short_from(plan: PlanTermsRecord, device: ScopeDevice) -> dt.date:
    """Where the stay was short from its first day, no window was ever to open, not even one that the plan has open as
    the device comes."""
    from_the_first = device.owned[0].from_on <= device.arrived_on
    if from_the_first and not any(_is_long(stay, plan.rule, device.arrived_on) for stay in device.owned):
        return dt.date.min
    return device.owned[-1].from_on


def _is_short(plan: PlanTermsRecord, device: ScopeDevice) -> bool:
    return bool(device.owned) and not _is_long(device.owned[-1], plan.rule, device.arrived_on)


def _former(
    plan: PlanTermsRecord, device: ScopeDevice, clock: Sequence[dt.date], background: Background
) -> Former | None:
    """What was said of the device for the procedure, by whichever plan, when the last complete inspection was done; or
    first, if nothing was said yet. None: it is what is said now. Changes in between count for nothing, so that not even
    several of them put anything off."""
    last_met = max(clock, default=dt.date.max)
    earlier = [
        terms
        for terms in background.former
        if terms.from_on < plan.from_on and terms.procedure == plan.procedure and covers(terms, device)
    ]
    in_force = [terms for terms in earlier if terms.from_on <= last_met] or earlier[-1:]
    then = in_force[0] if in_force and plan.from_on > last_met else None
    anchor_on, anchored_on = device.anchors.get(plan.plan, (None, dt.date.min))
    if then is None and anchored_on <= last_met:
        return None
    said = plan if then is None else then
    own = anchor_on if anchored_on <= last_met else None
    return Former(said.rule, own or said.anchor_on or device.arrived_on)


def _usage_day(
    plan: PlanTermsRecord, device: ScopeDevice, clock: Sequence[dt.date], background: Background
) -> dt.date | None:
    """When the meter reaches the plan's limit, counted from the last inspection. A meter that was not read by then
    counts from its first reading; not read since, from its last. Readings that contradict one another say nothing."""
    if plan.usage is None or plan.rule.basis is not Basis.FLOATING:
        return None
    readings = background.meters.get((device.device, plan.usage.unit), [])
    if not readings:
        return None
    last_done = max((day for day in clock if day <= background.as_of), default=device.arrived_on)
    try:
        began = value_on(readings, last_done)
    except NoReadingThen:
        began = value_on(readings, readings[0][0] if last_done < readings[0][0] else readings[-1][0])
    except UsageError:
        return None
    try:
        return usage_due_on(readings, plan.usage.limit, began)
    except UsageError:
        return None
