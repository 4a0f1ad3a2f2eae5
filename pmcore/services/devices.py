"""Devices: registered, moved, labelled, put out of service; and what was recorded wrongly about them put right."""

import datetime as dt
from typing import Any

from pmcore.engines.records import Actor
from pmcore.engines.vocabulary import Departure, OwnershipKind, ServiceStateKind
from pmcore.models import (
    Area,
    Device,
    DeviceIdentity,
    DeviceOrigin,
    DeviceRevision,
    Ownership,
    Placement,
    ServiceState,
    TagHeld,
)
from pmcore.models.base import Fact
from pmcore.models.rows import Row
from pmcore.services.append import append
from pmcore.services.permissions import check_role, check_site
from pmcore.services.refusals import RecordRefused, UnknownReference
from pmcore.services.requests import Receipt, Request, answered


class SerialTaken(RecordRefused):
    """The same model and serial number is in the record: a device is registered once."""


class TagTaken(RecordRefused):
    """Another device carries this tag."""


class ReasonMissing(RecordRefused):
    """A correction says why."""


class DepartureUnclear(RecordRefused):
    """A device that leaves says how, and only that one does."""


def register_device(
    *,
    device_model: int,
    serial: str,
    tag: str | None,
    area: int,
    from_on: dt.date,
    actor: Actor,
    at: dt.datetime,
    revision: int | None = None,
    ownership: OwnershipKind = OwnershipKind.OWNED,
    known_from_on: dt.date | None = None,
    acquired_on: dt.date | None = None,
    found_in_use: bool = False,
    request: Request | None = None,
) -> Receipt:
    """A device comes into the inventory, in service. Its history counts from `known_from_on`, or from that day.

    Raises SerialTaken, TagTaken, WrongSite, NotAllowed.
    """
    check_role(actor, "register a device")
    check_site(actor, _site_of_area(area))
    if (earlier := answered(actor, request)) is not None:
        return earlier
    if DeviceIdentity.objects.current().filter(device_model=device_model, serial=serial).exists():
        raise SerialTaken(f"The serial number {serial!r} of this model is already in the record.")
    _check_tag_free(tag, from_on)
    device = Row(Device)
    rows = [
        device,
        Row(DeviceIdentity, device=device, device_model=device_model, serial=serial),
        Row(
            DeviceOrigin,
            device=device,
            known_from_on=known_from_on or from_on,
            acquired_on=acquired_on,
            found_in_use=found_in_use,
        ),
        Row(Placement, device=device, from_on=from_on, area=area),
        Row(Ownership, device=device, from_on=from_on, kind=ownership),
        Row(ServiceState, device=device, from_on=from_on, state=ServiceStateKind.IN_SERVICE),
    ]
    if tag is not None:
        rows.append(Row(TagHeld, device=device, from_on=from_on, tag=tag))
    if revision is not None:
        rows.append(Row(DeviceRevision, device=device, from_on=from_on, revision=revision))
    return append("device_registered", device, rows, actor=actor, at=at, request=request)


def move_device(
    *, device: int, area: int, from_on: dt.date, actor: Actor, at: dt.datetime, request: Request | None = None
) -> Receipt:
    """From a day on it stands in another area. Raises WrongSite where the actor is no member of either site."""
    check_role(actor, "move a device")
    check_site(actor, _site_of_device(device, from_on), _site_of_area(area))
    row = Row(Placement, device=device, from_on=from_on, area=area)
    return append("device_placed", device, [row], actor=actor, at=at, request=request)


def set_tag(
    *, device: int, tag: str | None, from_on: dt.date, actor: Actor, at: dt.datetime, request: Request | None = None
) -> Receipt:
    """The label that it carries from a day on; none takes it off."""
    check_role(actor, "move a device")
    check_site(actor, _site_of_device(device, from_on))
    if (earlier := answered(actor, request)) is not None:
        return earlier
    _check_tag_free(tag, from_on, device)
    row = Row(TagHeld, device=device, from_on=from_on, tag=tag)
    return append("tag_set", device, [row], actor=actor, at=at, request=request)


def set_service_state(
    *,
    device: int,
    state: ServiceStateKind,
    from_on: dt.date,
    actor: Actor,
    at: dt.datetime,
    sealed: bool | None = None,
    in_hand: bool | None = None,
    last_seen_on: dt.date | None = None,
    departure: Departure | None = None,
    note: str | None = None,
    request: Request | None = None,
) -> Receipt:
    """In service, stored, not located or left, from a day on. Raises DepartureUnclear."""
    check_role(actor, "move a device")
    check_site(actor, _site_of_device(device, from_on))
    if (state == ServiceStateKind.LEFT) != (departure is not None):
        raise DepartureUnclear("A device that leaves the inventory says how it left, and no other does.")
    row = Row(
        ServiceState,
        device=device,
        from_on=from_on,
        state=state,
        sealed=sealed,
        in_hand=in_hand,
        last_seen_on=last_seen_on,
        departure=departure,
        note=note,
    )
    return append("service_state_set", device, [row], actor=actor, at=at, request=request)


def correct_placement(
    *, wrong: Placement, area: int, from_on: dt.date, reason: str, actor: Actor, at: dt.datetime
) -> Receipt:
    """It was recorded wrongly where it stood. Raises ReasonMissing, AlreadyReplaced, WrongSite."""
    check_site(actor, _site_of_area(area))
    right = Row(Placement, device=wrong.device_id, from_on=from_on, area=area)
    return _correct("device_placed", wrong, [right], reason=reason, actor=actor, at=at)


def correct_identity(
    *, wrong: DeviceIdentity, device_model: int, serial: str, reason: str, actor: Actor, at: dt.datetime
) -> Receipt:
    """Its model or serial number was recorded wrongly. Raises ReasonMissing, AlreadyReplaced, SerialTaken."""
    same = DeviceIdentity.objects.current().filter(device_model=device_model, serial=serial)
    if same.exclude(device=wrong.device_id).exists():
        raise SerialTaken(f"The serial number {serial!r} of this model is already in the record.")
    right = Row(DeviceIdentity, device=wrong.device_id, device_model=device_model, serial=serial)
    return _correct("device_identified", wrong, [right], reason=reason, actor=actor, at=at)


def take_back(*, wrong: Placement | TagHeld | ServiceState, reason: str, actor: Actor, at: dt.datetime) -> Receipt:
    """It never was so, and nothing stands in its place. Raises ReasonMissing, AlreadyReplaced."""
    kinds = {Placement: "device_placed", TagHeld: "tag_set", ServiceState: "service_state_set"}
    return _correct(kinds[type(wrong)], wrong, [], reason=reason, actor=actor, at=at)


def _correct(kind: str, wrong: Fact, rows: list[Row], *, reason: str, actor: Actor, at: dt.datetime) -> Receipt:
    check_role(actor, "correct a device")
    device: Any = getattr(wrong, "device_id")  # noqa: B009  (every fact here is about a device)
    check_site(actor, _site_of_device(device, at.date()))
    if not reason.strip():
        raise ReasonMissing("Say why the record was wrong.")
    return append(kind, device, rows, replaces=[wrong], note=reason, actor=actor, at=at)


def _site_of_area(area: int) -> int:
    found = Area.objects.filter(pk=area).values_list("site_id", flat=True).first()
    if found is None:
        raise UnknownReference("area", [area])
    return int(found)


def _site_of_device(device: int, on: dt.date) -> int | None:
    """Where it stands on the day, as known now; none where nobody said."""
    placed = Placement.objects.current().on(on).filter(device=device).values_list("area__site_id", flat=True).first()
    return None if placed is None else int(placed)


def _check_tag_free(tag: str | None, on: dt.date, device: int | None = None) -> None:
    held = TagHeld.objects.current().on(on).filter(tag=tag).exclude(device=device) if tag is not None else None
    if held is not None and held.exists():
        raise TagTaken(f"Another device carries the tag {tag!r}.")
