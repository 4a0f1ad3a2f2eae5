"""What was said of a device for a day is said right: another day, another state, another value."""

import datetime as dt
from typing import Any

import pytest

from pmcore.engines.vocabulary import Departure, OwnershipKind, Role, ServiceStateKind, UsageUnit
from pmcore.models import Lending, MeterReading, Ownership, ServiceState, UseSeen
from pmcore.models.base import Fact
from pmcore.models.rows import Row
from pmcore.queries.columns import BadValue
from pmcore.queries.head import head
from pmcore.queries.verification import verify
from pmcore.services.corrections import ReasonMissing, take_back
from pmcore.services.departures import DepartureUnclear
from pmcore.services.device_days import InTheFuture, NotYetInRecord
from pmcore.services.fact_corrections import CrossesAnother, LostOtherwise, NotCorrectable, correct_fact
from pmcore.services.loans import ReturnUnclear, lend_device, set_ownership
from pmcore.services.locating import SeenLater, mark_not_located
from pmcore.services.refusals import AlreadyReplaced, NotAllowed, UnknownReference, WrongSite
from pmcore.services.storage import store_device
from pmcore.services.usage import MeterFalls, read_meter, record_use_seen
from tests.cast import AT, JANUARY, Hospital, a_person, check_refused
from tests.history import MARCH, day, written
from tests.states import gone, in_role

pytestmark = pytest.mark.django_db

APRIL, JUNE = day("2026-04-01"), day("2026-06-01")
ONE_DAY = dt.timedelta(days=1)


def by(hospital: Hospital, **options: Any) -> dict[str, Any]:
    return {"device": hospital.device, "from_on": MARCH, "actor": hospital.odile, "at": AT} | options


def said(hospital: Hospital, table: type[Fact], on: dt.date = MARCH) -> Any:
    return table.objects.current().get(device=hospital.device, from_on=on)


def corrected(hospital: Hospital, wrong: int, reason: str = "Misread.", **options: Any) -> None:
    given: dict[str, Any] = {"actor": hospital.odile, "at": AT, "reason": reason}
    deed = {name: options.pop(name) for name in list(options) if name in given}
    correct_fact(wrong=wrong, changed=options, **{**given, **deed})


def stored(hospital: Hospital, on: dt.date = MARCH) -> int:
    store_device(sealed=True, in_hand=True, note="Behind the lift.", **by(hospital, from_on=on))
    return int(said(hospital, ServiceState, on).pk)


def test_a_wrong_day_is_put_right_and_stays_readable(hospital: Hospital) -> None:
    wrong, size = stored(hospital), head().size
    corrected(hospital, wrong, from_on=APRIL)
    right = said(hospital, ServiceState, APRIL)
    assert (right.state, right.sealed, right.in_hand, right.note.words) == ("stored", True, True, "Behind the lift.")
    assert ServiceState.objects.current().on(MARCH).get(device=hospital.device).state == "in_service"
    assert ServiceState.objects.known(size).on(MARCH).get(device=hospital.device).state == "stored"
    assert verify().sound


def test_a_wrong_state_is_put_right(hospital: Hospital) -> None:
    corrected(hospital, stored(hospital), state=ServiceStateKind.NOT_LOCATED, sealed=None, in_hand=None)
    assert said(hospital, ServiceState).state == "not_located"


def test_ownership_lending_use_and_readings_are_put_right(hospital: Hospital) -> None:
    lend_device(borrower="Fallow Lane", **by(hospital))
    set_ownership(kind=OwnershipKind.LEASED, **by(hospital))
    record_use_seen(device=hospital.device, on=MARCH, actor=hospital.ruan, at=AT)
    read_meter(device=hospital.device, unit=UsageUnit.HOURS, value="10", on=MARCH, actor=hospital.ruan, at=AT)
    corrected(hospital, said(hospital, Lending).pk, borrower="Cray Row", due_back_on=JUNE)
    corrected(hospital, said(hospital, Ownership).pk, kind=OwnershipKind.RENTED, until_on=JUNE)
    corrected(hospital, said(hospital, UseSeen).pk, from_on=APRIL)
    corrected(hospital, said(hospital, MeterReading).pk, value="1000", from_on=APRIL)
    assert (said(hospital, Lending).borrower.words, said(hospital, Ownership).kind) == ("Cray Row", "rented")
    assert (said(hospital, UseSeen, APRIL).from_on, said(hospital, MeterReading, APRIL).value) == (APRIL, "1000")
    assert verify().sound


@pytest.mark.parametrize("table", [Lending, Ownership, UseSeen, MeterReading])
def test_each_can_be_taken_back(hospital: Hospital, table: type[Fact]) -> None:
    lend_device(borrower="Fallow Lane", **by(hospital))
    set_ownership(kind=OwnershipKind.LEASED, **by(hospital))
    record_use_seen(device=hospital.device, on=MARCH, actor=hospital.ruan, at=AT)
    read_meter(device=hospital.device, unit=UsageUnit.HOURS, value="10", on=MARCH, actor=hospital.ruan, at=AT)
    take_back(wrong=said(hospital, table).pk, reason="Another device.", actor=hospital.odile, at=AT)
    assert not table.objects.current().filter(device=hospital.device, from_on=MARCH).exists()


def test_the_right_day_lies_on_the_same_side_of_what_else_is_said(hospital: Hospital) -> None:
    wrong = stored(hospital)
    mark_not_located(**by(hospital, from_on=APRIL))
    for on in (APRIL, JUNE):
        with check_refused(CrossesAnother):
            corrected(hospital, wrong, from_on=on)
    corrected(hospital, wrong, from_on=APRIL - ONE_DAY)
    assert said(hospital, ServiceState, APRIL - ONE_DAY).state == "stored"


def test_a_departure_is_told_whole_and_no_other_is_one(hospital: Hospital) -> None:
    wrong = stored(hospital)
    with check_refused(DepartureUnclear):
        corrected(hospital, wrong, state=ServiceStateKind.LEFT)
    with check_refused(DepartureUnclear):
        corrected(hospital, wrong, departure=Departure.SOLD)
    with check_refused(SeenLater):
        corrected(hospital, wrong, state=ServiceStateKind.NOT_LOCATED, last_seen_on=APRIL)


def test_nothing_becomes_lost_by_correction_and_no_loss_is_dated_back(hospital: Hospital) -> None:
    gone(hospital, MARCH)
    with check_refused(LostOtherwise):
        corrected(hospital, said(hospital, ServiceState).pk, departure=Departure.DECLARED_LOST)
    take_back(wrong=said(hospital, ServiceState).pk, reason="It is here.", actor=hospital.odile, at=AT)
    lost = Row(ServiceState, device=hospital.device, from_on=APRIL, state="left", departure="declared_lost")
    written("service_state_set", hospital.device, lost)
    wrong = said(hospital, ServiceState, APRIL).pk
    with check_refused(LostOtherwise):
        corrected(hospital, wrong, from_on=MARCH)
    corrected(hospital, wrong, departure=Departure.SCRAPPED)
    assert said(hospital, ServiceState, APRIL).departure == "scrapped"


def test_a_value_that_makes_no_sense_is_refused_as_when_it_was_first_said(hospital: Hospital) -> None:
    set_ownership(kind=OwnershipKind.LEASED, **by(hospital))
    lend = said(hospital, Ownership)
    with check_refused(ReturnUnclear):
        corrected(hospital, lend.pk, kind=OwnershipKind.OWNED, until_on=JUNE)
    with check_refused(BadValue):
        corrected(hospital, lend.pk, colour="blue")
    for value, on in (("10", MARCH), ("20", APRIL)):
        read_meter(device=hospital.device, unit=UsageUnit.HOURS, value=value, on=on, actor=hospital.ruan, at=AT)
    with check_refused(MeterFalls):
        corrected(hospital, said(hospital, MeterReading).pk, value="21")
    corrected(hospital, said(hospital, MeterReading).pk, value="5")
    assert said(hospital, MeterReading).value == "5"


def test_a_correction_is_allowed_says_why_and_happens_once(hospital: Hospital) -> None:
    wrong = stored(hospital)
    stranger = a_person("Tove Halvard-Quist", Role.MANAGER, hospital.stennet)
    for more, error in (
        ({"from_on": AT.date() + ONE_DAY}, InTheFuture),
        ({"from_on": JANUARY - ONE_DAY}, NotYetInRecord),
        ({"device": 404}, NotCorrectable),
        ({"actor": stranger}, WrongSite),
        ({"actor": in_role(hospital.ruan, Role.TECHNICIAN)}, NotAllowed),
        ({"reason": " "}, ReasonMissing),
    ):
        with check_refused(error):
            corrected(hospital, wrong, **more)
    with check_refused(UnknownReference):
        corrected(hospital, 404)
    corrected(hospital, wrong, from_on=APRIL)
    with check_refused(AlreadyReplaced):
        corrected(hospital, wrong, from_on=APRIL + ONE_DAY)
