"""Use of a device: seen on a day, and counted by its own meter."""

import datetime as dt
from decimal import Decimal

from pmcore.engines.records import Actor
from pmcore.engines.vocabulary import UsageUnit
from pmcore.models import MeterReading, UseSeen
from pmcore.models.rows import Row
from pmcore.services.append import append
from pmcore.services.device_days import check_day_of
from pmcore.services.permissions import use_case
from pmcore.services.refusals import RecordRefused
from pmcore.services.requests import Receipt, Request
from pmcore.services.service_states import check_still_here
from pmcore.services.values import check_values

_HOURS_A_DAY = 25  # a day with the clock set back has so many


class ReadingImplausible(RecordRefused):
    """A meter counts up from zero, and hours no faster than they pass."""


class MeterFalls(ReadingImplausible):
    """It would stand lower than on an earlier day, or higher than on a later one."""


@use_case("record use", "use_seen")
def record_use_seen(
    *,
    device: int,
    on: dt.date,
    actor: Actor,
    at: dt.datetime,
    note: str | None = None,
    request: Request | None = None,
) -> Receipt:
    """Somebody saw it in use on the day. Raises HasLeft, InTheFuture, NotYetInRecord, WrongSite, NotAllowed; Conflict
    where the day is in the record already."""
    row = Row(UseSeen, device=device, from_on=on, note=note)
    check_values(row)
    check_day_of(actor, device, on, at)
    check_still_here(device, on)
    return append("use_seen", device, [row], actor=actor, at=at, request=request)


@use_case("read a meter", "meter_read")
def read_meter(
    *,
    device: int,
    unit: UsageUnit,
    value: str | Decimal,
    on: dt.date,
    actor: Actor,
    at: dt.datetime,
    request: Request | None = None,
) -> Receipt:
    """Hours or cycles as the device's own meter shows them on the day; a decimal string.

    Raises MeterFalls, ReadingImplausible, HasLeft, InTheFuture, NotYetInRecord, WrongSite, NotAllowed; Conflict where
    the day has a reading already.
    """
    row = Row(MeterReading, device=device, unit=unit, from_on=on, value=value)
    check_values(row)
    check_day_of(actor, device, on, at)
    check_still_here(device, on)
    check_reading(row)
    return append("meter_read", device, [row], actor=actor, at=at, request=request)


def check_reading(row: Row, instead_of: int | None = None) -> None:
    """The reading fits between its neighbours, among which `instead_of` (the id of the one that was wrong) is none.

    Raises MeterFalls, ReadingImplausible.
    """
    unit, on, value = row.values["unit"], row.values["from_on"], Decimal(row.values["value"])
    if value < 0:
        raise ReadingImplausible(f"A meter counts up from zero, not from {value}.")
    others = MeterReading.objects.current().filter(device=row.values["device"], unit=unit)
    if instead_of is not None:
        others = others.exclude(pk=instead_of)
    before = others.filter(from_on__lt=on).order_by("-from_on").first()
    after = others.filter(from_on__gt=on).order_by("from_on").first()
    if before is not None:
        _check_rise(unit, before.from_on, Decimal(before.value), on, value)
    if after is not None:
        _check_rise(unit, on, value, after.from_on, Decimal(after.value))


def _check_rise(unit: str, began: dt.date, low: Decimal, ended: dt.date, high: Decimal) -> None:
    if high < low:
        raise MeterFalls(f"It would stand at {low} on {began} and at {high} on {ended}.")
    if unit == UsageUnit.HOURS and high - low > _HOURS_A_DAY * ((ended - began).days + 1):
        raise ReadingImplausible(f"{high - low} hours do not pass from {began} to {ended}.")
