"""Tokens: an administrator makes them, sees them once, and takes them back; nobody else does."""

import re
from typing import Any

import pytest
from django.contrib.sessions.models import Session
from django.db import connection
from django.test import Client
from django.test.utils import CaptureQueriesContext

from pmcore.engines.records import SYSTEM
from pmcore.engines.vocabulary import Role
from pmcore.models import Account, Token
from pmcore.services.tokens import create_token
from tests.cast import AT, Hospital, a_person
from tests.dashboards.signed_in import signed_in
from tests.dashboards.test_people import headline, page_of, secret_in, text_of

pytestmark = pytest.mark.django_db

TOKENS = "/administration/tokens/"


@pytest.fixture
def ines(hospital: Hospital) -> str:
    """The user name of an auditor at one site."""
    auditor = a_person("Ines Kaldervik", Role.AUDITOR, hospital.alderwick)
    signed_in(auditor)
    return Account.objects.get(person_id=auditor.person).username


def sent(ines: str, **changed: Any) -> dict[str, Any]:
    asked = {"key": "k1", "account": ines, "label": "yearly audit", "days": "30", "read_only": "yes"}
    return {**asked, **changed}


def asked_by(raw: str, address: str = "devices/") -> int:
    return Client().get(f"/api/v1/{address}", headers={"Authorization": f"Token {raw}"}).status_code


def test_no_token_is_said_and_so_is_what_opens_something(wim: Client, ines: str) -> None:
    page = page_of(wim, TOKENS)
    assert headline(page) == "There is no token: nobody asks the interface without signing in."
    create_token(username=ines, label="first", actor=SYSTEM, at=AT)
    page = page_of(wim, TOKENS)
    assert headline(page) == "One token opens the interface and does all that its account may."
    assert "One of them has no end and is good until it is taken back." in page
    assert "May do all that its account may." in page
    assert "Its use is not recorded." in page
    wim.post(f"{TOKENS}new/", sent(ines))
    assert (
        headline(page_of(wim, TOKENS)) == "Two tokens open the interface; one of them may change what its account may."
    )
    wim.post(f"{TOKENS}{Token.objects.get(label='first').pk}/back/")
    page = page_of(wim, TOKENS)
    assert headline(page) == "One token opens the interface and changes nothing."
    assert "taken back on 31 October 2026" in page
    Account.objects.filter(username=ines).update(is_active=False)
    page = page_of(wim, TOKENS)
    assert headline(page) == "No token opens anything any more."
    assert "account switched off" in page


def test_a_token_is_made_and_shown_once(wim: Client, ines: str) -> None:
    narrow = {"sites": ["AG"], "from_on": "2026-01-01", "to_on": "2026-10-31"}
    answer = wim.post(f"{TOKENS}new/", sent(ines, **narrow))
    token = Token.objects.get()
    assert answer["Location"] == f"{TOKENS}{token.pk}/shown/"
    kept = [session.get_decoded().get("shown-once") for session in Session.objects.all()]
    shown = wim.get(answer["Location"])
    raw = secret_in(text_of(shown)) or ""
    assert len(raw) == 43
    assert raw not in f"{kept} {answer['Location']}"
    assert "no-store" in shown["Cache-Control"]
    told = "Read-only, at Alderwick General, for days from 1 January 2026 up to 31 October 2026."
    assert f"{told} Made on 31 October 2026, good until 30 November 2026." in text_of(shown)
    again = page_of(wim, answer["Location"])
    assert raw not in again
    assert "The token “yearly audit” was shown once, and is not shown again." in again
    assert told in page_of(wim, TOKENS)
    assert raw not in page_of(wim, TOKENS)
    assert asked_by(raw) == 200
    assert asked_by(raw, "schema/") == 200


def test_a_form_that_is_sent_twice_makes_one(wim: Client, ines: str) -> None:
    first, again = (wim.post(f"{TOKENS}new/", sent(ines)) for _ in range(2))
    assert first["Location"] == again["Location"]
    assert Token.objects.count() == 1
    raw = secret_in(page_of(wim, again["Location"])) or ""
    assert asked_by(raw) == 200
    late = wim.post(f"{TOKENS}new/", sent(ines))
    assert secret_in(page_of(wim, late["Location"])) is None
    other = wim.post(f"{TOKENS}new/", sent(ines, label="another"))
    assert other.status_code == 400
    assert "This form was sent before, with other words." in text_of(other)


def test_it_is_taken_back_after_a_look_and_opens_nothing(wim: Client, ines: str) -> None:
    raw = secret_in(page_of(wim, wim.post(f"{TOKENS}new/", sent(ines))["Location"])) or ""
    back = f"{TOKENS}{Token.objects.get().pk}/back/"
    page = page_of(wim, back)
    assert headline(page) == "Take back the token “yearly audit”?"
    assert "Not used yet." in page
    assert asked_by(raw) == 200, "looking takes nothing back"
    answer = wim.post(back, follow=True)
    assert answer.redirect_chain == [(TOKENS, 302)]
    assert "The token “yearly audit” opens nothing any more." in text_of(answer)
    assert asked_by(raw) == 401
    again = wim.post(back, follow=True)
    assert "The token “yearly audit” was taken back before." in text_of(again)
    assert "That was done before." in page_of(wim, back)


def test_the_token_of_an_account_that_is_switched_off_opens_nothing(wim: Client, ines: str) -> None:
    raw = secret_in(page_of(wim, wim.post(f"{TOKENS}new/", sent(ines))["Location"])) or ""
    account = Account.objects.get(username=ines).pk
    wim.post(f"/administration/people/{account}/switch/", {"to": "off"})
    assert asked_by(raw) == 401
    wim.post(f"/administration/people/{account}/switch/", {"to": "on"})
    assert asked_by(raw) == 200


@pytest.mark.parametrize(
    ("changed", "beside", "says"),
    [
        ({"account": ""}, "account", "Say whose token"),
        ({"account": "nobody"}, "account", "Choose one of these."),
        ({"label": ""}, "label", "Say what it is for."),
        ({"label": "x" * 81}, "label", "at most 80 characters"),
        ({"label": "audit\x00"}, "label", "a character that cannot be kept"),
        ({"days": ""}, "days", "Say for how many days."),
        ({"days": "0"}, "days", "1 to 366"),
        ({"days": "367"}, "days", "1 to 366"),
        ({"days": "9" * 30}, "days", "1 to 366"),
        ({"days": "-1"}, "days", "1 to 366"),
        ({"days": "\u0663"}, "days", "1 to 366"),
        ({"sites": ["SP"]}, "sites", "no member of all of these sites"),
        ({"sites": ["XX"]}, "sites", "Choose one of these."),
        ({"read_only": "", "sites": ["AG"]}, "read_only", "Only a read-only token"),
        ({"from_on": "soon"}, "from_on", "Say the day as"),
        ({"from_on": "2026-02-01", "to_on": "2026-01-01"}, "to_on", "after their end"),
    ],
)
def test_what_is_wrong_stands_beside_its_field_and_nothing_is_lost(
    wim: Client, ines: str, changed: dict[str, Any], beside: str, says: str
) -> None:
    answer = wim.post(f"{TOKENS}new/", sent(ines, **changed))
    page = answer.content.decode()
    assert answer.status_code == 400
    wrong = re.search(rf'id="f-{beside}-wrong">([^<]*)<', page)
    assert wrong is not None
    assert says in wrong[1]
    assert "label" in changed or 'value="yearly audit"' in page
    assert not Token.objects.exists()


def test_only_accounts_that_can_act_are_offered(hospital: Hospital, wim: Client, ines: str) -> None:
    signed_in(hospital.ruan)
    Account.objects.filter(person_id=hospital.ruan.person).update(is_active=False)
    Account.objects.create(username="nobody")
    offered = re.findall(r'<option value="(\w+)"', page_of(wim, f"{TOKENS}new/"))
    assert sorted(offered) == sorted([ines, Account.objects.get(person_id=hospital.wim.person).username])


ADDRESSES = ["", "new/", "{}/shown/", "{}/back/"]


@pytest.mark.parametrize("role", [role for role in Role if role not in {Role.ADMINISTRATOR, Role.SYSTEM}])
def test_nobody_else_comes_in(hospital: Hospital, ines: str, role: Role) -> None:
    token = create_token(username=ines, label="audit", actor=SYSTEM, at=AT).token
    browser = signed_in(a_person("Per Aldous", role, hospital.alderwick))
    for address in ADDRESSES:
        assert browser.get(f"{TOKENS}{address.format(token)}").status_code == 403
        assert browser.post(f"{TOKENS}{address.format(token)}", sent(ines)).status_code == 403
    assert Token.objects.get().revoked_at is None


def test_a_token_that_is_not_there_is_not_found(wim: Client) -> None:
    for address in ADDRESSES[2:]:
        assert wim.get(f"{TOKENS}{address.format(4040)}").status_code == 404
        assert wim.post(f"{TOKENS}{address.format(4040)}").status_code == 404


def test_nothing_is_done_without_the_pages_own_token(hospital: Hospital, wim: Client, ines: str) -> None:
    token = create_token(username=ines, label="audit", actor=SYSTEM, at=AT).token
    browser = Client(enforce_csrf_checks=True)
    account = Account.objects.get(person_id=hospital.wim.person)
    browser.force_login(account, backend="allauth.account.auth_backends.AuthenticationBackend")
    for address in ("new/", f"{token}/back/"):
        assert browser.post(f"{TOKENS}{address}", sent(ines)).status_code == 403
    assert Token.objects.get().revoked_at is None


def test_the_list_costs_the_same_however_long_it_is(wim: Client, ines: str) -> None:
    def statements() -> int:
        with CaptureQueriesContext(connection) as captured:
            assert wim.get(TOKENS).status_code == 200
        return len(captured)

    create_token(username=ines, label="audit", actor=SYSTEM, at=AT)
    before = statements()
    for number in range(5):
        create_token(username=ines, label=f"audit {number}", read_only=True, site_labels=["AG"], actor=SYSTEM, at=AT)
    assert statements() == before
