"""Inspection plans: made, changed, re-anchored, ended, never deleted; and devices that need none."""

import datetime as dt
from decimal import Decimal
from typing import NotRequired, TypedDict, Unpack

from pmcore.engines.due_dates import Window
from pmcore.engines.records import Actor
from pmcore.engines.vocabulary import Basis, PlanBasis, Unit, UsageUnit, WindowKind
from pmcore.models import (
    DeviceIdentity,
    InspectionPlan,
    ModelDetails,
    NoPlanNeeded,
    PlanAnchor,
    PlanTerms,
    VersionApproval,
)
from pmcore.models.rows import Row
from pmcore.queries.columns import Fault, column_of
from pmcore.queries.figure_settings import window_table_on
from pmcore.queries.head import head
from pmcore.queries.site_days import site_on
from pmcore.services.append import append
from pmcore.services.corrections import ReasonMissing
from pmcore.services.device_days import check_device
from pmcore.services.lock import writing
from pmcore.services.permissions import check_role, check_site
from pmcore.services.plan_rules import check_anchor, check_from_today, checked_rule, today_at
from pmcore.services.procedures import check_not_withdrawn
from pmcore.services.refusals import RecordRefused, UnknownReference
from pmcore.services.requests import Receipt, Request, answered

_take_usage = column_of(PlanTerms._meta.get_field("usage_limit")).take


class TargetUnclear(RecordRefused):
    """A plan is for one device class, one device model or one device."""


class UsageUnclear(RecordRefused):
    """A limit of usage is a number above zero with its unit, in a plan that floats; or there is none."""


class ProcedureNotApproved(RecordRefused):
    """No version of the procedure is approved on the day from which the plan would call for it."""


class SignedTwiceByOne(RecordRefused):
    """The second signature is another person's."""


class PlanNotBegun(RecordRefused):
    """The plan says nothing yet on that day."""


class PlanEnded(RecordRefused):
    """The plan has ended by that day; make another one."""


class LaterTermsStand(RecordRefused):
    """The plan is to change after that day, which would bring it back: take the change back first."""


class PlanCannotBeUnmade(RecordRefused):
    """What a plan began with stays; it can be ended."""


class NotUnderPlan(RecordRefused):
    """The plan is not for this device."""


class NothingDeclared(RecordRefused):
    """Nobody said that the device needs no plan."""


class Terms(TypedDict):
    """What a plan says. Of `device_class`, `device_model` and `device` one is given; no `window`: the table of windows
    has it; no `anchor_on`: each device counts from its own first day. `usage_limit` is a decimal string."""

    name: str
    device_class: NotRequired[int | None]
    device_model: NotRequired[int | None]
    device: NotRequired[int | None]
    procedure: int
    every: int
    unit: Unit
    counts_from: Basis
    anchor_on: NotRequired[dt.date | None]
    window: Window | None
    usage_limit: NotRequired[str | Decimal | None]
    usage_unit: NotRequired[UsageUnit | None]
    basis: PlanBasis
    basis_note: NotRequired[str | None]
    approved_by: int
    second_signature: NotRequired[int | None]


def make_plan(
    *, from_on: dt.date, actor: Actor, at: dt.datetime, request: Request | None = None, **terms: Unpack[Terms]
) -> Receipt:
    """A new plan, from today on or later.

    Raises TargetUnclear, ProcedureNotApproved, ProcedureWithdrawn, IntervalRefused, WindowRefused, WindowNotInTable,
    AnchorTooFar, UsageUnclear, SignedTwiceByOne, DatedBack, WrongSite, NotAllowed.
    """
    check_role(actor, "make a plan")
    with writing():
        if (earlier := answered(actor, request, "plan_made")) is not None:
            return earlier
        _check_where(actor, from_on, at, terms.get("device"))
        _check_terms(terms, from_on)
        plan = Row(InspectionPlan)
        return append("plan_made", plan, [plan, _row(plan, from_on, terms)], actor=actor, at=at, request=request)


def change_plan(
    *,
    plan: int,
    from_on: dt.date,
    actor: Actor,
    at: dt.datetime,
    request: Request | None = None,
    **terms: Unpack[Terms],
) -> Receipt:
    """From a day on the plan says this instead. Raises what `make_plan` raises, PlanNotBegun, PlanEnded."""
    check_role(actor, "make a plan")
    with writing():
        if (earlier := answered(actor, request, "plan_changed")) is not None:
            return earlier
        _check_where(actor, from_on, at, _standing(plan, from_on).device_id, terms.get("device"))
        _check_terms(terms, from_on)
        return append("plan_changed", plan, [_row(plan, from_on, terms)], actor=actor, at=at, request=request)


def end_plan(
    *,
    plan: int,
    from_on: dt.date,
    actor: Actor,
    at: dt.datetime,
    note: str | None = None,
    request: Request | None = None,
) -> Receipt:
    """From a day on the plan calls for nothing more; whoever ends it has approved that. What it called for before stays
    due. Raises PlanNotBegun, PlanEnded, LaterTermsStand, DatedBack, WrongSite, NotAllowed."""
    check_role(actor, "make a plan")
    with writing():
        if (earlier := answered(actor, request, "plan_changed")) is not None:
            return earlier
        standing = _standing(plan, from_on)
        _check_where(actor, from_on, at, standing.device_id)
        if PlanTerms.objects.current().filter(plan=plan, from_on__gt=from_on).exists():
            raise LaterTermsStand("The plan is to change after that day: take the change back first.")
        row = _ending(standing, from_on, actor)
        return append("plan_changed", plan, [row], actor=actor, at=at, note=note, request=request)


def take_back_change(*, wrong: PlanTerms, reason: str, actor: Actor, at: dt.datetime) -> Receipt:
    """A change, or an end, that lies ahead will not come. What has begun stands: change the plan again instead.

    Raises PlanCannotBeUnmade, DatedBack, ReasonMissing, AlreadyReplaced, WrongSite, NotAllowed, and what stands against
    going on with the terms before it: ProcedureWithdrawn.
    """
    check_role(actor, "make a plan")
    if not reason.strip():
        raise ReasonMissing("Say why the change will not come.")
    with writing():
        before = PlanTerms.objects.current().filter(plan=wrong.plan_id, from_on__lt=wrong.from_on)
        last = before.order_by("-from_on").first()
        if last is None:
            raise PlanCannotBeUnmade("What a plan began with stays; end the plan.")
        _check_where(actor, wrong.from_on - dt.timedelta(days=1), at, wrong.device_id, last.device_id)
        if not last.ended:
            check_not_withdrawn(last.procedure_id, wrong.from_on)
        return append("plan_changed", wrong.plan_id, replaces=[wrong], note=reason, actor=actor, at=at)


def anchor_plan(
    *,
    plan: int,
    device: int,
    anchor_on: dt.date,
    from_on: dt.date,
    actor: Actor,
    at: dt.datetime,
    note: str | None = None,
    request: Request | None = None,
) -> Receipt:
    """For one device the plan counts from another day. Raises NotUnderPlan, AnchorTooFar, PlanNotBegun, PlanEnded,
    DatedBack, WrongSite, NotAllowed."""
    check_role(actor, "make a plan")
    with writing():
        if (earlier := answered(actor, request, "plan_anchored")) is not None:
            return earlier
        check_device(device)
        standing = _standing(plan, from_on)
        _check_where(actor, from_on, at, device)
        if not _is_for(standing, device, from_on):
            raise NotUnderPlan(f"The plan {standing.name!r} is not for the device {device} on {from_on}.")
        check_anchor(anchor_on, from_on, standing.every, Unit(standing.unit))
        row = Row(PlanAnchor, plan=plan, device=device, from_on=from_on, anchor_on=anchor_on, note=note)
        return append("plan_anchored", device, [row], actor=actor, at=at, request=request)


def declare_no_plan_needed(
    *,
    device: int,
    reason: str,
    signed_by: int,
    from_on: dt.date,
    actor: Actor,
    at: dt.datetime,
    request: Request | None = None,
) -> Receipt:
    """A person signs that the device needs no plan. Raises ReasonMissing, DatedBack, WrongSite, NotAllowed."""
    row = Row(NoPlanNeeded, device=device, from_on=from_on, needed=False, reason=reason, signed_by=signed_by)
    return _declare(row, actor, at, request)


def declare_plan_needed(
    *,
    device: int,
    reason: str,
    signed_by: int,
    from_on: dt.date,
    actor: Actor,
    at: dt.datetime,
    request: Request | None = None,
) -> Receipt:
    """That the device needs no plan is taken back, from a day on. Raises NothingDeclared besides."""
    row = Row(NoPlanNeeded, device=device, from_on=from_on, needed=True, reason=reason, signed_by=signed_by)
    return _declare(row, actor, at, request)


def _declare(row: Row, actor: Actor, at: dt.datetime, request: Request | None) -> Receipt:
    check_role(actor, "make a plan")
    device, from_on = row.values["device"], row.values["from_on"]
    with writing():
        if (earlier := answered(actor, request, "no_plan_needed")) is not None:
            return earlier
        check_device(device)
        _check_where(actor, from_on, at, device)
        if not row.values["reason"].strip():
            raise ReasonMissing("Say why.")
        said = NoPlanNeeded.objects.current().on(from_on).filter(device=device, needed=False)
        if row.values["needed"] and not said.exists():
            raise NothingDeclared(f"Nobody said that the device {device} needs no plan on {from_on}.")
        return append("no_plan_needed", device, [row], actor=actor, at=at, request=request)


def _standing(plan: int, on: dt.date) -> PlanTerms:
    """The terms in force. Raises UnknownReference, PlanNotBegun, PlanEnded."""
    terms = PlanTerms.objects.current().on(on).filter(plan=plan).first()
    if terms is None and not InspectionPlan.objects.filter(pk=plan).exists():
        raise UnknownReference("inspection_plan", [plan])
    if terms is None:
        raise PlanNotBegun(f"The plan {plan} has not begun by {on}.")
    if terms.ended:
        raise PlanEnded(f"The plan {terms.name!r} ended on {terms.from_on}.")
    return terms


def _check_where(actor: Actor, from_on: dt.date, at: dt.datetime, *devices: int | None) -> None:
    """The actor is a member of the devices' sites, and the day has not passed there; a plan for more than one device
    concerns every site. Raises WrongSite, DatedBack."""
    today, known = today_at(at), head().size
    sites = {site for device in devices if device and (site := site_on(device, today, known)) is not None}
    for site in sites:
        check_site(actor, site)
    check_from_today(from_on, at, None if None in devices or not sites else sites)


def _check_terms(terms: Terms, from_on: dt.date) -> None:
    targets = [terms.get("device_class"), terms.get("device_model"), terms.get("device")]
    if sum(target is not None for target in targets) != 1:
        raise TargetUnclear("A plan is for one device class, one device model or one device.")
    _check_usage(terms.get("usage_limit"), terms.get("usage_unit"))
    if terms.get("usage_limit") is not None and terms["counts_from"] != Basis.FLOATING:
        raise UsageUnclear("A limit of usage counts from the last inspection, and so does its plan.")
    if terms.get("second_signature") == terms["approved_by"]:
        raise SignedTwiceByOne("The second signature is another person's.")
    table = window_table_on(from_on, head().size)
    checked_rule(terms["every"], terms["unit"], terms["counts_from"], terms["window"], table)
    check_anchor(terms.get("anchor_on"), from_on, terms["every"], terms["unit"])
    procedure = terms["procedure"]
    check_not_withdrawn(procedure, from_on)
    approvals = VersionApproval.objects.current().on(from_on).filter(version__procedure=procedure, approved=True)
    if not approvals.exists():
        raise ProcedureNotApproved(f"No version of the procedure {procedure} is approved on {from_on}.")


def _check_usage(limit: str | Decimal | None, unit: UsageUnit | None) -> None:
    try:
        number = _take_usage(limit)
    except Fault as fault:
        raise UsageUnclear(f"A limit of usage is a decimal number: {fault}.") from None
    if (number is None) != (unit is None):
        raise UsageUnclear("A limit of usage has a number and a unit.")
    if number is not None and Decimal(number) <= 0:
        raise UsageUnclear(f"A limit of usage is above zero, not {number}.")


def _row(plan: int | Row, from_on: dt.date, terms: Terms) -> Row:
    window = terms["window"]
    in_days = window is not None and window.kind == WindowKind.DAYS
    columns = {
        **terms,
        "window": WindowKind.TABLE if window is None else window.kind,
        "window_before": window.before if window is not None and in_days else None,
        "window_after": window.after if window is not None and in_days else None,
    }
    return Row(PlanTerms, plan=plan, from_on=from_on, ended=False, **columns)


def _ending(standing: PlanTerms, from_on: dt.date, actor: Actor) -> Row:
    said = ("name", "every", "unit", "counts_from", "anchor_on", "window", "window_before", "window_after",
            "usage_limit", "usage_unit", "basis")  # fmt: skip
    referred = ("plan", "device_class", "device_model", "device", "procedure")
    columns = {name: getattr(standing, name) for name in said}
    columns |= {name: getattr(standing, f"{name}_id") for name in referred}
    approved_by = standing.approved_by_id if actor.person is None else actor.person
    return Row(PlanTerms, from_on=from_on, ended=True, approved_by=approved_by, **columns)


def _is_for(terms: PlanTerms, device: int, on: dt.date) -> bool:
    if terms.device_id is not None:
        return bool(terms.device_id == device)
    model = DeviceIdentity.objects.current().filter(device=device).values_list("device_model_id", flat=True).first()
    if terms.device_model_id is not None:
        return bool(terms.device_model_id == model)
    described = ModelDetails.objects.current().on(on).filter(device_model=model, device_class=terms.device_class_id)
    return bool(described.exists())
