"""Use of a device: seen on a day, and counted by its own meter."""

import datetime as dt
from typing import Any

import pytest

from pmcore.engines.vocabulary import Role, UsageUnit
from pmcore.models import MeterReading, UseSeen
from pmcore.queries.columns import BadValue
from pmcore.queries.verification import verify
from pmcore.services.device_days import InTheFuture, NotYetInRecord
from pmcore.services.refusals import Conflict, NotAllowed, UnknownReference, WrongSite
from pmcore.services.service_states import HasLeft
from pmcore.services.usage import MeterFalls, ReadingImplausible, read_meter, record_use_seen
from tests.cast import AT, JANUARY, Hospital, a_person, check_refused
from tests.history import MARCH, day
from tests.states import gone, in_role

pytestmark = pytest.mark.django_db

ONE_DAY = dt.timedelta(days=1)


def by(hospital: Hospital, **options: Any) -> dict[str, Any]:
    return {"device": hospital.device, "on": MARCH, "actor": hospital.ruan, "at": AT} | options


def read(hospital: Hospital, value: str, on: str, unit: UsageUnit = UsageUnit.HOURS) -> None:
    read_meter(unit=unit, value=value, **by(hospital, on=day(on)))


def test_use_is_seen_on_a_day_once(hospital: Hospital) -> None:
    record_use_seen(note="Before it was checked.", **by(hospital))
    assert UseSeen.objects.current().get(device=hospital.device).from_on == MARCH
    with check_refused(Conflict, "useseen_once_a_day"):
        record_use_seen(**by(hospital))
    assert verify().sound


def test_a_clinical_lead_may_say_that_it_was_used(hospital: Hospital) -> None:
    record_use_seen(**by(hospital, actor=in_role(hospital.ruan, Role.CLINICAL_LEAD)))
    assert UseSeen.objects.count() == 1


def test_a_meter_counts_up(hospital: Hospital) -> None:
    read(hospital, "100.5", "2026-03-01")
    read(hospital, "100.5", "2026-03-02")
    read(hospital, "130", "2026-03-10")
    values = MeterReading.objects.current().filter(device=hospital.device).order_by("from_on")
    assert list(values.values_list("value", flat=True)) == ["100.5", "100.5", "130"]
    assert verify().sound


def test_a_reading_fits_between_its_neighbours(hospital: Hospital) -> None:
    read(hospital, "100", "2026-03-01")
    read(hospital, "130", "2026-03-10")
    with check_refused(MeterFalls):
        read(hospital, "129", "2026-03-11")
    with check_refused(MeterFalls):
        read(hospital, "99", "2026-03-05")
    with check_refused(MeterFalls):
        read(hospital, "131", "2026-03-05")
    read(hospital, "110", "2026-03-05")
    with check_refused(Conflict, "meterreading_once_a_day"):
        read(hospital, "110", "2026-03-05")


def test_hours_pass_no_faster_than_days(hospital: Hospital) -> None:
    read(hospital, "100", "2026-03-01")
    with check_refused(ReadingImplausible):
        read(hospital, "151", "2026-03-02")
    read(hospital, "148", "2026-03-02")
    read(hospital, "5000", "2026-03-03", UsageUnit.CYCLES)
    read(hospital, "9000", "2026-03-04", UsageUnit.CYCLES)
    assert MeterReading.objects.count() == 4


def test_what_is_no_reading_is_refused(hospital: Hospital) -> None:
    with check_refused(ReadingImplausible):
        read(hospital, "-1", "2026-03-01")
    with check_refused(BadValue):
        read(hospital, "many", "2026-03-01")


def test_use_is_of_a_device_that_is_here_on_a_day_that_has_come_at_ones_own_site(hospital: Hospital) -> None:
    stranger = a_person("Tove Halvard-Quist", Role.MANAGER, hospital.stennet)
    gone(hospital, day("2026-06-01"))
    for more, error in (
        ({"on": AT.date() + ONE_DAY}, InTheFuture),
        ({"on": JANUARY - ONE_DAY}, NotYetInRecord),
        ({"on": day("2026-06-01")}, HasLeft),
        ({"device": 404}, UnknownReference),
        ({"actor": stranger}, WrongSite),
        ({"actor": in_role(hospital.odile, Role.AUDITOR)}, NotAllowed),
    ):
        with check_refused(error):
            record_use_seen(**by(hospital, **more))
        with check_refused(error):
            read_meter(unit=UsageUnit.HOURS, value="1", **by(hospital, **more))
