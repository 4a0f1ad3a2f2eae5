"""A tablet that sends again gets the first answer, whatever would be said to it now."""

import datetime as dt

import pytest

from pmcore.engines.records import SYSTEM, Actor
from pmcore.engines.vocabulary import Role
from pmcore.queries.head import head
from pmcore.services.refusals import RequestReused
from pmcore.services.requests import Request
from tests.cast import AT, a_hospital, check_refused
from tests.deeds import DEEDS, do

pytestmark = pytest.mark.django_db

LATER = AT + dt.timedelta(minutes=5)


@pytest.fixture(autouse=True)
def files_of_the_test(settings, tmp_path) -> None:
    settings.DATA = tmp_path


@pytest.mark.parametrize("deed", DEEDS)
def test_a_retry_gets_the_first_receipt(deed: str) -> None:
    hospital, request = a_hospital(), Request.of("tablet-7-0001", {"deed": deed})
    first = do(deed, hospital, SYSTEM, 0, request=request)
    size = head().size
    assert do(deed, hospital, SYSTEM, 0, at=LATER, request=request) == first._replace(repeated=True)
    assert head().size == size


@pytest.mark.parametrize("deed", DEEDS)
def test_a_retry_is_answered_although_its_sender_may_do_nothing_any_more(deed: str) -> None:
    hospital, request = a_hospital(), Request.of("tablet-7-0001", {"deed": deed})
    both = frozenset({hospital.alderwick, hospital.stennet})
    first = do(deed, hospital, Actor(hospital.wim.person, Role.ADMINISTRATOR, both), 0, request=request)
    retired = Actor(hospital.wim.person, Role.AUDITOR, frozenset())
    assert do(deed, hospital, retired, 0, at=LATER, request=request) == first._replace(repeated=True)


@pytest.mark.parametrize("deed", DEEDS)
def test_a_key_that_comes_back_for_another_deed_is_refused(deed: str) -> None:
    hospital, request = a_hospital(), Request.of("tablet-7-0001", {"the same": "content"})
    do(deed, hospital, SYSTEM, 0, request=request)
    # A wrong placement is put right by an entry of the kind that moves a device: those two share their kind.
    another = next(other for other in DEEDS if {deed, other} != {"correct a device", "move a device"} and other != deed)
    with check_refused(RequestReused):
        do(another, hospital, SYSTEM, 0, request=request)


@pytest.mark.parametrize("deed", DEEDS)
def test_a_key_that_comes_back_with_another_content_is_refused(deed: str) -> None:
    hospital = a_hospital()
    do(deed, hospital, SYSTEM, 0, request=Request.of("tablet-7-0001", {"number": 0}))
    with check_refused(RequestReused):
        do(deed, hospital, SYSTEM, 1, request=Request.of("tablet-7-0001", {"number": 1}))
