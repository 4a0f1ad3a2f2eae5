"""Releases: the signed statement that lifts holds, with a restriction if one remains."""

import datetime as dt
from collections.abc import Collection

from pmcore.engines.gate import HoldToLift
from pmcore.engines.records import Actor
from pmcore.engines.vocabulary import Role
from pmcore.models import Hold, HoldDetails, InspectionSession, Release, ReleasedHold, ReleaseStatement
from pmcore.models.rows import Row
from pmcore.queries.head import head
from pmcore.queries.release_gate import holds_to_lift
from pmcore.services.append import append
from pmcore.services.device_days import check_device, check_happened, check_in_record, place_of
from pmcore.services.faults import check_taking_back
from pmcore.services.findings import OfAnotherDevice
from pmcore.services.permissions import check_site, use_case
from pmcore.services.refusals import AlreadyReplaced, NotAllowed, RecordRefused, RowTwice, UnknownReference
from pmcore.services.requests import Receipt, Request

KIND = "release_signed"


class NothingToLift(RecordRefused):
    """A release names the holds that it lifts."""


class HoldOfAnother(RecordRefused):
    """The hold is on another device."""


class HoldNotInForce(RecordRefused):
    """The hold was lifted or taken back before."""


class SignedBeforeHold(RecordRefused):
    """The hold began after the day of the signature."""


class GroundMissing(RecordRefused):
    """The record does not show that the device is fit again: a note says on what ground it is released."""


class ManagersJudgement(RecordRefused):
    """Nothing recorded shows that the device is fit again: whether the device may be used is for a manager to judge."""


@use_case("sign a release", KIND)
def sign_release(
    *,
    device: int,
    holds: Collection[int],
    signed_at: dt.datetime,
    actor: Actor,
    at: dt.datetime,
    inspection: int | None = None,
    restriction: str | None = None,
    note: str | None = None,
    request: Request | None = None,
) -> Receipt:
    """The actor signs that the device may be used again; the holds count up to that day at its site, left out. Other
    holds stay in force.

    Raises NothingToLift, HoldOfAnother, HoldNotInForce, SignedBeforeHold, ManagersJudgement, GroundMissing,
    OfAnotherDevice, NotAllowed, WrongSite, UnknownReference, InTheFuture, PlaceUnknown, NotYetInRecord.
    """
    if actor.person is None:
        raise NotAllowed("A release is signed by a person.")
    known = head().size
    check_device(device)
    check_happened(at, signed_at=signed_at)
    place = place_of(device, signed_at, known)
    check_site(actor, place.site)
    check_in_record(device, place.day, known)
    lifted = _lifted(device, holds, place.day, known)
    _check_ground(lifted, actor, note)
    if inspection is not None:
        _check_inspection(inspection, device)
    release = Row(Release, device=device)
    statement = Row(
        ReleaseStatement, release=release, signed_at=signed_at, signed_on=place.day, signed_by=actor.person,
        inspection=inspection, restriction=restriction, note=note,
    )  # fmt: skip
    parts = [Row(ReleasedHold, statement=statement, hold=hold) for hold in holds]
    return append(KIND, device, [release, statement, *parts], actor=actor, at=at, request=request)


@use_case("take back a release", KIND)
def take_back_release(
    *, release: int, reason: str, actor: Actor, at: dt.datetime, request: Request | None = None
) -> Receipt:
    """It should not have been signed: the holds that it lifted are in force as though it had never been.

    Raises ReasonMissing, AlreadyReplaced, UnknownReference, NotAllowed, WrongSite.
    """
    device = Release.objects.filter(pk=release).values_list("device_id", flat=True).first()
    if device is None:
        raise UnknownReference("release", [release])
    check_taking_back(actor, device, reason, at)
    statement = ReleaseStatement.objects.current().filter(release=release).first()
    if statement is None:
        raise AlreadyReplaced(f"The release {release} was taken back before.")
    return append(KIND, device, replaces=[statement], note=reason, actor=actor, at=at, request=request)


def _lifted(device: int, holds: Collection[int], on: dt.date, known: int) -> list[HoldToLift]:
    if not holds:
        raise NothingToLift("Say which holds it lifts.")
    if len(set(holds)) < len(holds):
        raise RowTwice("A hold is named twice.")
    held = dict(Hold.objects.filter(pk__in=holds).values_list("pk", "device_id"))
    if missing := sorted(set(holds) - held.keys()):
        raise UnknownReference("hold", missing)
    if others := sorted(hold for hold, of in held.items() if of != device):
        raise HoldOfAnother(f"The hold {others[0]} is on another device.")
    released = ReleasedHold.objects.known(known).filter(hold__in=holds).values_list("hold_id", flat=True).first()
    if released is not None:
        raise HoldNotInForce(f"The hold {released} was lifted before.")
    in_force = {each.hold: each for each in holds_to_lift(device, on, known)}
    for hold in sorted(set(holds) - in_force.keys()):
        if HoldDetails.objects.known(known).filter(hold=hold).exists():
            raise SignedBeforeHold(f"The hold {hold} began after {on}.")
        raise HoldNotInForce(f"The hold {hold} was taken back.")
    return [in_force[hold] for hold in holds]


def _check_ground(lifted: Collection[HoldToLift], actor: Actor, note: str | None) -> None:
    if actor.role is not Role.MANAGER and any(each.needs_manager for each in lifted):
        raise ManagersJudgement("Nothing recorded shows that the device is fit again: a manager signs this release.")
    if not all(each.shown for each in lifted) and not (note or "").strip():
        raise GroundMissing("Say in a note what was done, and on what ground it may be used again.")


def _check_inspection(inspection: int, device: int) -> None:
    sessions = InspectionSession.objects.current().filter(inspection=inspection, inspection__device=device)
    if not sessions.exists():
        raise OfAnotherDevice(f"There is no inspection {inspection} of this device.")
