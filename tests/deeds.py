"""Every use case of the permissions once, by any actor. Each `number` makes another deed of it."""

import datetime as dt
import io
from collections.abc import Callable
from typing import Any

from pmcore.engines.records import Actor
from pmcore.engines.vocabulary import AreaKind, EnergySource, OwnershipKind, Role, UsageUnit
from pmcore.models import PersonDetails, Placement
from pmcore.services.catalogue import register_class, register_model, register_revision
from pmcore.services.corrections import correct_placement
from pmcore.services.devices import move_device, register_device, set_tag
from pmcore.services.files import attach_file
from pmcore.services.loans import receive_device, set_ownership
from pmcore.services.people import give_role, register_person, register_provider, set_membership
from pmcore.services.redaction import redact_text
from pmcore.services.requests import Receipt, Request
from pmcore.services.sites import describe_area, describe_site, open_area, open_site, set_holidays
from pmcore.services.storage import store_device
from pmcore.services.usage import read_meter, record_use_seen
from tests.cast import AT, Hospital


def do(
    deed: str, hospital: Hospital, actor: Actor, number: int, *, at: dt.datetime = AT, request: Request | None = None
) -> Receipt:
    by: dict[str, Any] = {"actor": actor, "at": at, "request": request}
    return DEEDS[deed](hospital, number, by, dt.date(2026, 2, 1) + dt.timedelta(days=number))


def _correct(hospital: Hospital, number: int, by: dict[str, Any], on: dt.date) -> Receipt:
    # The first correction, and any retry of it, means the first placement; each further one the newest.
    wrong = Placement.objects.filter(device=hospital.device).latest("pk").pk if number else hospital.placement
    return correct_placement(wrong=wrong, area=hospital.theatre, from_on=on, reason="Misread.", **by)


def _redact(hospital: Hospital, number: int, by: dict[str, Any], on: dt.date) -> Receipt:
    digest = PersonDetails.objects.order_by("pk")[number % 3].name_id
    return redact_text(digest=digest, reason="Asked for by the person.", **by)


DEEDS: dict[str, Callable[[Hospital, int, dict[str, Any], dt.date], Receipt]] = {
    "open a site": lambda h, n, by, on: open_site(
        label=f"S{n}", name="Fallow Lane", time_zone="Europe/London", from_on=on, **by
    ),
    "describe a site": lambda h, n, by, on: describe_site(
        site=h.alderwick, label="AG", name=f"Alderwick {n}", time_zone="Europe/London", from_on=on, **by
    ),
    "describe an area": lambda h, n, by, on: describe_area(
        area=h.theatre, name=f"Theatre 1, wing {n}", kind=AreaKind.THEATRE, from_on=on, **by
    ),
    "open an area": lambda h, n, by, on: open_area(
        site=h.alderwick, name="Store", kind=AreaKind.STORE, from_on=on, **by
    ),
    "set holidays": lambda h, n, by, on: set_holidays(site=h.alderwick, days={on: "Founder's day"}, **by),
    "register a person": lambda h, n, by, on: register_person(
        name="Ines Caddock", role=Role.TECHNICIAN, sites=[h.stennet], from_on=on, **by
    ),
    "give a role": lambda h, n, by, on: give_role(person=h.ruan.person or 0, role=Role.SCHEDULER, from_on=on, **by),
    "set a membership": lambda h, n, by, on: set_membership(
        person=h.ruan.person or 0, site=h.stennet, member=True, from_on=on, **by
    ),
    "register a provider": lambda h, n, by, on: register_provider(name="Halden Cove Services", from_on=on, **by),
    "redact": _redact,
    "register a class": lambda h, n, by, on: register_class(name=f"Class {n}", from_on=on, **by),
    "register a model": lambda h, n, by, on: register_model(
        maker="Pellimar", name=f"Sedge {n}", device_class=h.table, energy_sources=[EnergySource.BATTERY], from_on=on,
        **by,
    ),
    "register a revision": lambda h, n, by, on: register_revision(
        device_model=h.model, label=f"R{n}", from_on=on, **by
    ),
    "register a device": lambda h, n, by, on: register_device(
        device_model=h.model, serial=f"OM-1{n}", tag=None, area=h.theatre, from_on=on, **by
    ),
    "correct a device": _correct,
    "move a device": lambda h, n, by, on: move_device(device=h.device, area=h.theatre, from_on=on, **by),
    "set a tag": lambda h, n, by, on: set_tag(device=h.device, tag=f"T-1{n}", from_on=on, **by),
    "store a device": lambda h, n, by, on: store_device(
        device=h.device, sealed=n % 3 == 0, in_hand=n % 3 == 1, from_on=on, **by
    ),
    "receive a device": lambda h, n, by, on: receive_device(
        device_model=h.model, serial=f"OM-2{n}", kind=OwnershipKind.ON_LOAN, area=h.theatre, from_on=on, **by
    ),
    "set whose it is": lambda h, n, by, on: set_ownership(
        device=h.device, kind=OwnershipKind.LEASED, from_on=on, **by
    ),
    "record use": lambda h, n, by, on: record_use_seen(device=h.device, on=on, **by),
    "read a meter": lambda h, n, by, on: read_meter(
        device=h.device, unit=UsageUnit.HOURS, value=str(n), on=on, **by
    ),
    "attach a file": lambda h, n, by, on: attach_file(
        thing=h.device, stream=io.BytesIO(b"a photo"), name="inlet.jpg", media_type="image/jpeg", **by
    ),
}  # fmt: skip
