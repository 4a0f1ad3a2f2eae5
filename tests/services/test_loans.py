"""Whose a device is, each time that it comes, and when it goes back."""

import datetime as dt
from typing import Any

import pytest

from pmcore.engines.vocabulary import OwnershipKind, Role
from pmcore.models import DeviceIdentity, Lending, Ownership, Placement, ServiceState
from pmcore.queries.verification import verify
from pmcore.services.departures import return_device
from pmcore.services.device_days import InTheFuture, NotYetInRecord
from pmcore.services.devices import TagTaken
from pmcore.services.loans import (
    AlreadyLent,
    LaterLendingStands,
    NotLent,
    NotOurs,
    ReturnUnclear,
    StillHere,
    lend_device,
    receive_back,
    receive_device,
    set_ownership,
)
from pmcore.services.refusals import NotAllowed, UnknownReference, WrongSite
from pmcore.services.service_states import HasLeft, LaterStateStands
from tests.cast import AT, JANUARY, Hospital, a_person, check_refused
from tests.history import MARCH, day
from tests.states import gone, in_role

pytestmark = pytest.mark.django_db

JUNE_1, JUNE_20 = day("2026-06-01"), day("2026-06-20")
ONE_DAY = dt.timedelta(days=1)


def came(hospital: Hospital, **options: Any) -> int:
    asked: dict[str, Any] = {
        "device_model": hospital.model, "serial": "OL-1", "kind": OwnershipKind.ON_LOAN, "area": hospital.theatre,
        "from_on": JUNE_1, "until_on": JUNE_20, "actor": hospital.odile, "at": AT,
    }  # fmt: skip
    return receive_device(**{**asked, **options}).subject


def by(hospital: Hospital, **options: Any) -> dict[str, Any]:
    return {"device": hospital.device, "from_on": MARCH, "actor": hospital.odile, "at": AT} | options


def went(hospital: Hospital, device: int, from_on: dt.date = JUNE_20) -> None:
    return_device(device=device, from_on=from_on, actor=hospital.odile, at=AT)


def test_a_loan_comes_with_the_day_on_which_it_goes_back(hospital: Hospital) -> None:
    device = came(hospital)
    ownership = Ownership.objects.current().get(device=device)
    assert (ownership.kind, ownership.from_on, ownership.until_on) == ("on_loan", JUNE_1, JUNE_20)
    assert verify().sound


def test_what_comes_again_is_the_same_device_by_model_and_serial(hospital: Hospital) -> None:
    device = came(hospital, tag="T-9")
    went(hospital, device)
    again = came(hospital, from_on=day("2026-09-01"), until_on=None, area=hospital.ward, kind=OwnershipKind.ON_TRIAL)
    assert again == device
    assert DeviceIdentity.objects.filter(device=device).count() == 1
    states = ServiceState.objects.current().filter(device=device).order_by("from_on").values_list("state", flat=True)
    assert list(states) == ["in_service", "left", "in_service"]
    assert Ownership.objects.current().on(day("2026-09-01")).get(device=device).kind == "on_trial"
    assert Placement.objects.current().on(day("2026-09-01")).get(device=device).area_id == hospital.ward
    assert verify().sound


def test_who_receives_it_again_is_of_the_site_where_it_comes(hospital: Hospital) -> None:
    device = came(hospital)
    went(hospital, device)
    tove = a_person("Tove Halvard-Quist", Role.TECHNICIAN, hospital.stennet)
    with check_refused(WrongSite):
        came(hospital, from_on=day("2026-09-01"), until_on=None, actor=tove)
    assert came(hospital, from_on=day("2026-09-01"), until_on=None, actor=tove, area=hospital.ward) == device


def test_what_is_still_here_does_not_come(hospital: Hospital) -> None:
    device = came(hospital)
    with check_refused(StillHere):
        came(hospital, from_on=JUNE_1 + ONE_DAY)
    with check_refused(StillHere):
        came(hospital, serial="OM-1")  # ours
    went(hospital, device)
    with check_refused(LaterStateStands):
        came(hospital, from_on=JUNE_20 - ONE_DAY)


@pytest.mark.parametrize(
    ("changed", "error"),
    [
        ({"kind": OwnershipKind.OWNED, "until_on": None}, ReturnUnclear),
        ({"until_on": JUNE_1 - ONE_DAY}, ReturnUnclear),
        ({"from_on": AT.date() + ONE_DAY, "until_on": None}, InTheFuture),
        ({"tag": "T-0001"}, TagTaken),
        ({"area": 404}, UnknownReference),
        ({"device_model": 404}, UnknownReference),
        ({"provider": 404}, UnknownReference),
    ],
)
def test_an_arrival_that_makes_no_sense_is_refused(
    hospital: Hospital, changed: dict[str, Any], error: type[Exception]
) -> None:
    with check_refused(error):
        came(hospital, **changed)


def test_a_loan_is_made_longer_and_a_leased_device_bought(hospital: Hospital) -> None:
    device = came(hospital)
    set_ownership(
        kind=OwnershipKind.ON_LOAN, until_on=day("2026-08-01"), **by(hospital, device=device, from_on=JUNE_20)
    )
    owned = Ownership.objects.current().filter(device=device)
    assert (owned.on(JUNE_1).get().until_on, owned.on(JUNE_20).get().until_on) == (JUNE_20, day("2026-08-01"))
    set_ownership(kind=OwnershipKind.OWNED, **by(hospital, device=device, from_on=day("2026-07-01")))
    assert owned.on(day("2026-07-01")).get().kind == "owned"


def test_ownership_that_makes_no_sense_is_refused(hospital: Hospital) -> None:
    with check_refused(ReturnUnclear):
        set_ownership(kind=OwnershipKind.OWNED, until_on=JUNE_20, **by(hospital))
    with check_refused(ReturnUnclear):
        set_ownership(kind=OwnershipKind.RENTED, until_on=MARCH - ONE_DAY, **by(hospital))
    gone(hospital, MARCH)
    with check_refused(HasLeft):
        set_ownership(kind=OwnershipKind.LEASED, **by(hospital))


def test_ours_is_lent_out_and_comes_back(hospital: Hospital) -> None:
    lend_device(borrower="Fallow Lane", due_back_on=JUNE_1, **by(hospital))
    lent = Lending.objects.current().on(MARCH).get(device=hospital.device)
    assert (lent.lent, lent.borrower.words, lent.due_back_on) == (True, "Fallow Lane", JUNE_1)
    receive_back(**by(hospital, from_on=JUNE_20))
    assert not Lending.objects.current().on(JUNE_20).get(device=hospital.device).lent
    assert verify().sound


def test_it_is_lent_once_and_comes_back_once(hospital: Hospital) -> None:
    with check_refused(NotLent):
        receive_back(**by(hospital))
    lend_device(borrower="Fallow Lane", **by(hospital))
    with check_refused(AlreadyLent):
        lend_device(borrower="Cray Row", **by(hospital, from_on=JUNE_1))
    with check_refused(LaterLendingStands):
        lend_device(borrower="Cray Row", **by(hospital, from_on=JANUARY))
    receive_back(**by(hospital, from_on=JUNE_20))
    with check_refused(NotLent):
        receive_back(**by(hospital, from_on=JUNE_20 + ONE_DAY))


def test_only_what_is_ours_and_here_is_lent_and_not_back_before_it_went(hospital: Hospital) -> None:
    loan = came(hospital)
    with check_refused(NotOurs):
        lend_device(borrower="Fallow Lane", **by(hospital, device=loan, from_on=JUNE_1))
    with check_refused(ReturnUnclear):
        lend_device(borrower="Fallow Lane", due_back_on=JANUARY, **by(hospital))
    gone(hospital, MARCH)
    with check_refused(HasLeft):
        lend_device(borrower="Fallow Lane", **by(hospital))


def test_all_of_it_is_said_of_a_day_that_has_come_at_ones_own_site_by_those_who_may(hospital: Hospital) -> None:
    stranger = a_person("Tove Halvard-Quist", Role.MANAGER, hospital.stennet)
    for more, error in (
        ({"from_on": AT.date() + ONE_DAY}, InTheFuture),
        ({"from_on": JANUARY - ONE_DAY}, NotYetInRecord),
        ({"device": 404}, UnknownReference),
        ({"actor": stranger}, WrongSite),
        ({"actor": in_role(hospital.odile, Role.AUDITOR)}, NotAllowed),
    ):
        with check_refused(error):
            set_ownership(kind=OwnershipKind.LEASED, **by(hospital, **more))
        with check_refused(error):
            lend_device(borrower="Fallow Lane", **by(hospital, **more))
        with check_refused(error):
            receive_back(**by(hospital, **more))
