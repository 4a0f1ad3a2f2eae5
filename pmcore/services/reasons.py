"""Attempts, and the reasons why a due inspection was not done. A reason stands on evidence, or it is refused."""

import datetime as dt

from pmcore.engines.records import Actor
from pmcore.engines.vocabulary import AttemptOutcome, HoldReason, ReasonCode, ServiceStateKind
from pmcore.models import Attempt, DueInspection, ReasonNotDone, ServiceState
from pmcore.models.rows import Row
from pmcore.queries.head import head
from pmcore.queries.holds import holds_in_force
from pmcore.queries.searches import attempts_stand_from, recorded_on
from pmcore.queries.site_days import site_on
from pmcore.services.append import append
from pmcore.services.corrections import ReasonMissing
from pmcore.services.device_days import check_day_has_come, check_happened, check_in_record, place_of
from pmcore.services.lock import writing
from pmcore.services.permissions import check_given, check_role, check_site
from pmcore.services.refusals import RecordRefused, UnknownReference
from pmcore.services.requests import Receipt, Request, answered

_ATTEMPTS: dict[ReasonCode, tuple[AttemptOutcome, int | None]] = {
    # The outcome that an attempt must have had, and on how many days; None: what the setting says.
    ReasonCode.WITH_A_PATIENT: (AttemptOutcome.WITH_A_PATIENT, None),
    ReasonCode.NOT_FOUND: (AttemptOutcome.NOT_FOUND, None),
    ReasonCode.NO_ACCESS: (AttemptOutcome.NO_ACCESS, 1),
}
_HOLDS = {  # the reason of hold that says the same; another one keeps the device out of use as well
    ReasonCode.WAITING_FOR_PART: HoldReason.WAITING_FOR_PART,
    ReasonCode.NO_USABLE_CONTROL: HoldReason.NO_USABLE_CONTROL,
}


class EvidenceMissing(RecordRefused):
    """The reason stands on nothing; the subclasses say what is wanted."""


class AttemptsMissing(EvidenceMissing):
    """Too few attempts with that outcome, on different days of the window and recorded in time."""


class NotOnHold(EvidenceMissing):
    """No such hold was in force on the device: it was in use."""


class DepartureMissing(EvidenceMissing):
    """The device had not left by the close, or that was recorded in time."""


class BeforeTheWindow(RecordRefused):
    """Before its window opens, a due inspection needs no reason."""


def record_attempt(
    *,
    due_inspection: int,
    tried_at: dt.datetime,
    outcome: AttemptOutcome,
    tried_by: int,
    actor: Actor,
    at: dt.datetime,
    area: int | None = None,
    note: str | None = None,
    request: Request | None = None,
) -> Receipt:
    """Somebody went to do it and could not. The day is the calendar's at the device's site.

    Raises NotAllowed, WrongSite, UnknownReference, InTheFuture, PlaceUnknown, NotYetInRecord, BadValue.
    """
    check_role(actor, "record an attempt")
    if (earlier := answered(actor, request, "attempt_made")) is not None:
        return earlier
    due, known = _due(due_inspection), head().size
    check_given(actor, due.device_id)
    check_happened(at, tried_at=tried_at)
    place = place_of(due.device_id, tried_at, known)
    check_site(actor, place.site)
    check_in_record(due.device_id, place.day, known)
    row = Row(
        Attempt, due_inspection=due.pk, tried_at=tried_at, tried_on=place.day, outcome=outcome, tried_by=tried_by,
        area=area, note=note,
    )  # fmt: skip
    return append("attempt_made", due.device_id, [row], actor=actor, at=at, request=request)


def record_reason(
    *,
    due_inspection: int,
    reason: ReasonCode,
    from_on: dt.date,
    actor: Actor,
    at: dt.datetime,
    hold: int | None = None,
    note: str | None = None,
    request: Request | None = None,
) -> Receipt:
    """Why it is not done, from a day on. It never improves the headline.

    "With a patient" and "could not be found" stand on attempts on two days of the window, "no access" on one;
    "waiting for a part" and "no usable control" on a hold in force (`hold`, or else the one that fits best); the
    departure on a device that had left by the close, recorded after it. A `hold` that is named must be in force.

    Raises EvidenceMissing (its subclasses), BeforeTheWindow, InTheFuture, NotAllowed, WrongSite, UnknownReference.
    """
    check_role(actor, "record a reason")
    with writing():
        if (earlier := answered(actor, request, "reason_recorded")) is not None:
            return earlier
        due, known = _due(due_inspection), head().size
        site = site_on(due.device_id, due.due_on, known)
        check_site(actor, site)
        check_day_has_come(from_on, at, site, known)
        if from_on < due.opens_on:
            raise BeforeTheWindow(f"The window opens on {due.opens_on}.")
        if hold is not None or reason in _HOLDS:
            hold = _hold_in_force(due, reason, from_on, hold, known)
        if reason in _ATTEMPTS:
            _check_attempts(due, reason, from_on, site, known)
        if reason == ReasonCode.LEFT_AFTER_CLOSE:
            _check_departure(due, site, known)
        row = Row(ReasonNotDone, due_inspection=due.pk, from_on=from_on, reason=reason, hold=hold, note=note)
        return append("reason_recorded", due.device_id, [row], actor=actor, at=at, request=request)


def take_back_reason(
    *, wrong: ReasonNotDone, reason: str, actor: Actor, at: dt.datetime, request: Request | None = None
) -> Receipt:
    """It was no reason; a right one is recorded anew. Raises ReasonMissing, AlreadyReplaced, NotAllowed, WrongSite."""
    check_role(actor, "correct a reason")
    if (earlier := answered(actor, request, "reason_recorded")) is not None:
        return earlier
    due = wrong.due_inspection
    check_site(actor, site_on(due.device_id, due.due_on, head().size))
    if not reason.strip():
        raise ReasonMissing("Say why the record was wrong.")
    return append("reason_recorded", due.device_id, replaces=[wrong], note=reason, actor=actor, at=at, request=request)


def _due(due_inspection: int) -> DueInspection:
    found = DueInspection.objects.filter(pk=due_inspection).first()
    if found is None:
        raise UnknownReference("due_inspection", [due_inspection])
    return found


def _hold_in_force(due: DueInspection, reason: ReasonCode, from_on: dt.date, hold: int | None, known: int) -> int:
    """Placed after the close, a hold explains nothing: the device was in use until then."""
    in_force = holds_in_force(due.device_id, min(from_on, due.closes_on), known)
    fitting = [each.hold for each in in_force if hold in (None, each.hold)]
    if not fitting:
        raise NotOnHold(f"No such hold on the device {due.device_id} was in force on {from_on}: it was in use.")
    saying_so = [each.hold for each in in_force if each.hold in fitting and each.reason == _HOLDS.get(reason)]
    return (saying_so or fitting)[0]


def _check_attempts(due: DueInspection, reason: ReasonCode, from_on: dt.date, site: int | None, known: int) -> None:
    outcome, days = _ATTEMPTS[reason]
    if attempts_stand_from(due, outcome, from_on, site, known, days_needed=days) is None:
        wanted = "an attempt" if days == 1 else "attempts on several days"
        raise AttemptsMissing(f"{wanted} with this outcome, inside the window and recorded in time, were wanted.")


def _check_departure(due: DueInspection, site: int | None, known: int) -> None:
    states = ServiceState.objects.known(known).on(due.closes_on).filter(device=due.device_id)
    left = states.filter(state=ServiceStateKind.LEFT).values_list("entry", flat=True).first()
    if left is None or recorded_on(left, site, known) <= due.closes_on:
        raise DepartureMissing(
            f"The device {due.device_id} had not left by {due.closes_on}, or it was recorded by then."
        )
