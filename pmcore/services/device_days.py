"""What every record of something done on a device asks first: was it there that day, at which site, and has it
happened yet?"""

import datetime as dt

from pmcore.engines.records import Actor
from pmcore.models import Device, DeviceOrigin
from pmcore.queries.columns import BadValue, Fault, take_moment
from pmcore.queries.head import head
from pmcore.queries.site_days import SiteDay, Zones, site_day, site_on
from pmcore.services.permissions import check_device as check_site_of_device
from pmcore.services.refusals import RecordRefused, UnknownReference


class NotYetInRecord(RecordRefused):
    """The device's history begins later than that day."""


class PlaceUnknown(RecordRefused):
    """Nobody said at which site the device stood, or in which zone the site lies; the day cannot be told."""


class PlacedElsewhere(RecordRefused):
    """By its placement the device stood at another site that day."""


class InTheFuture(RecordRefused):
    """It has not happened yet."""


class MomentsOutOfOrder(RecordRefused):
    """Work begins, is performed and ends, in that order."""


def check_device(device: int) -> None:
    """Raises UnknownReference."""
    if not Device.objects.filter(pk=device).exists():
        raise UnknownReference("device", [device])


def check_day_of(actor: Actor, device: int, day: dt.date, at: dt.datetime) -> None:
    """Something can be said of the device for that day: it is one of the actor's, the day has come at its site, and its
    history had begun. Raises UnknownReference, WrongSite, InTheFuture, NotYetInRecord."""
    known = head().size
    check_device(device)
    check_site_of_device(actor, device, day)
    check_day_has_come(day, at, site_on(device, day, known), known)
    check_in_record(device, day, known)


def check_in_record(device: int, on: dt.date, known: int) -> None:
    """Raises NotYetInRecord, also where nobody said from which day its history is known."""
    origins = DeviceOrigin.objects.known(known).filter(device=device)
    since = origins.values_list("known_from_on", flat=True).first()
    if since is None or on < since:
        raise NotYetInRecord(f"The history of the device {device} begins {f'on {since}' if since else 'at no day'}.")


def check_happened(at: dt.datetime, **moments: dt.datetime) -> None:
    """The moments, given in their order, have passed by `at`. Raises BadValue, MomentsOutOfOrder, InTheFuture."""
    for name, moment in moments.items():
        try:
            take_moment(moment)
        except Fault as fault:
            raise BadValue("entry", name, str(fault)) from None
    if sorted(moments.values()) != list(moments.values()):
        raise MomentsOutOfOrder(f"These moments come in this order: {', '.join(moments)}.")
    for name, moment in moments.items():
        if moment > at:
            raise InTheFuture(f"{name} lies in the future: {moment}.")


def place_of(device: int, moment: dt.datetime, known: int, stated: int | None = None) -> SiteDay:
    """The device's site at the moment and that site's day. A `stated` site stands in where no placement says it.

    Raises PlaceUnknown, PlacedElsewhere.
    """
    zones = Zones(known)
    found = site_day(device, moment, known, zones)
    if found is None and stated is not None:
        day = zones.day_at(stated, moment)
        found = None if day is None else SiteDay(stated, day)
    if found is None:
        raise PlaceUnknown(f"Nobody said where the device {device} stood at {moment}.")
    if stated not in (None, found.site):
        raise PlacedElsewhere(f"By its placement the device {device} stood at the site {found.site} on {found.day}.")
    return found


def check_day_has_come(day: dt.date, at: dt.datetime, site: int | None, known: int) -> None:
    """The day has begun at the site (no site: in UTC). Raises InTheFuture."""
    today = Zones(known).day_at(site, at) if site is not None else None
    if day > (today or at.astimezone(dt.UTC).date()):
        raise InTheFuture(f"{day} lies in the future.")
