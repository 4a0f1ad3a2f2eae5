"""Another address for letters and for signing in; in the record from its day on."""

import datetime as dt
from typing import Any

import pytest

from pmcore.engines.vocabulary import Role
from pmcore.models import Account, PersonDetails, Text
from pmcore.queries.alert_people import address_of
from pmcore.queries.head import head
from pmcore.queries.verification import verify
from pmcore.services.account_addresses import change_address
from pmcore.services.account_roles import AlreadySo
from pmcore.services.accounts import AddressTaken, BadAccount, UnknownAccount, create_account
from pmcore.services.redaction import redact_text
from pmcore.services.refusals import NotAllowed
from pmcore.services.requests import Receipt, Request
from tests.cast import AT, Hospital, check_refused

pytestmark = pytest.mark.django_db

TODAY = AT.date()
YESTERDAY, TOMORROW = TODAY - dt.timedelta(days=1), TODAY + dt.timedelta(days=1)


@pytest.fixture
def ines(hospital: Hospital) -> Account:
    made = create_account(
        username="ines", password="heron-quartz-lantern", name="Ines Caddock", email="inse@quillmere.example",
        role=Role.TECHNICIAN, site_labels=["AG"], actor=hospital.wim, at=AT, on=YESTERDAY,
    )  # fmt: skip
    return Account.objects.get(pk=made.account)


def change(hospital: Hospital, account: Account | int, email: str, **options: Any) -> Receipt:
    number = account if isinstance(account, int) else account.pk
    asked = {"account": number, "email": email, "from_on": TODAY, "actor": hospital.wim, "at": AT, **options}
    return change_address(**asked)


def test_letters_and_signing_in_follow_it(hospital: Hospital, ines: Account) -> None:
    change(hospital, ines, "ines@quillmere.example")
    person = ines.person_id or 0
    assert address_of(person, on=YESTERDAY) == "inse@quillmere.example"
    assert address_of(person, on=TODAY) == "ines@quillmere.example"
    ines.refresh_from_db()
    assert ines.email == "ines@quillmere.example"
    said = PersonDetails.objects.current().on(TODAY).get(person=person)
    assert said.name.words == "Ines Caddock"
    assert verify().sound


def test_said_again_on_the_same_day_it_is_put_right(hospital: Hospital, ines: Account) -> None:
    change(hospital, ines, "ienes@quillmere.example")
    change(hospital, ines, "ines@quillmere.example")
    assert address_of(ines.person_id or 0, on=TOMORROW) == "ines@quillmere.example"
    assert PersonDetails.objects.current().filter(person=ines.person_id, from_on=TODAY).count() == 1
    assert verify().sound


def test_of_whom_is_told_from_a_later_day_on_it_counts_from_there(hospital: Hospital, ines: Account) -> None:
    change(hospital, ines, "ines@quillmere.example", from_on=YESTERDAY - dt.timedelta(days=1))
    assert address_of(ines.person_id or 0, on=YESTERDAY) == "ines@quillmere.example"
    assert PersonDetails.objects.current().filter(person=ines.person_id).count() == 1
    assert verify().sound


def test_an_empty_one_is_none(hospital: Hospital, ines: Account) -> None:
    change(hospital, ines, "")
    assert address_of(ines.person_id or 0, on=TODAY) is None
    change(hospital, ines, "ines@quillmere.example")
    assert address_of(ines.person_id or 0, on=TODAY) == "ines@quillmere.example"


def test_sent_twice_it_is_one_entry(hospital: Hospital, ines: Account) -> None:
    request = Request.of("k1", "ines@quillmere.example")
    first, again = (change(hospital, ines, "ines@quillmere.example", request=request) for _ in range(2))
    assert (again.seq, again.repeated, head().size) == (first.seq, True, first.seq)


def test_what_makes_no_sense_is_refused_and_changes_nothing(hospital: Hospital, ines: Account) -> None:
    Account.objects.create(username="other", email="taken@quillmere.example")
    nobody = Account.objects.create(username="nobody").pk
    size = head().size
    for error, account, email, options in (
        (AlreadySo, ines.pk, "inse@quillmere.example", {}),
        (AddressTaken, ines.pk, "TAKEN@quillmere.example", {}),
        (BadAccount, ines.pk, "ines", {}),
        (BadAccount, ines.pk, f"{'i' * 60}@{'quillmere.' * 20}example", {}),
        (BadAccount, ines.pk, "ines@quillmere.example\r\nBcc: all@quillmere.example", {}),
        (UnknownAccount, nobody, "ines@quillmere.example", {}),
        (UnknownAccount, 404, "ines@quillmere.example", {}),
        (NotAllowed, ines.pk, "ines@quillmere.example", {"actor": hospital.odile}),
    ):
        with check_refused(error):
            change(hospital, account, email, **options)
    ines.refresh_from_db()
    assert (ines.email, head().size) == ("inse@quillmere.example", size)


def test_of_whom_the_record_says_no_more_nothing_more_is_said(hospital: Hospital, ines: Account) -> None:
    digest = Text.objects.get(words="Ines Caddock").digest
    redact_text(digest=digest, reason="Asked for by the person.", actor=hospital.wim, at=AT)
    with check_refused(BadAccount, "was taken out of the record"):
        change(hospital, ines, "ines@quillmere.example")
