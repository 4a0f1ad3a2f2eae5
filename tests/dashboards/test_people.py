"""People: an administrator sees who can sign in, makes accounts, changes them, switches them off; nobody else does."""

import re
from typing import Any

import pytest
from django.contrib.sessions.models import Session
from django.db import connection
from django.test import Client
from django.test.utils import CaptureQueriesContext

from pmcore.engines.records import SYSTEM
from pmcore.engines.vocabulary import Role
from pmcore.models import Account, Entry, RoleHeld
from pmcore.queries.actors import actor_of
from pmcore.queries.head import head
from pmcore.services.people import give_role, register_person
from pmcore.services.refusals import RecordBusy
from tests.cast import AT, Hospital, a_person
from tests.dashboards.signed_in import signed_in

pytestmark = pytest.mark.django_db

PEOPLE = "/administration/people/"
INES = {
    "key": "k1", "name": "Ines Caddock", "username": "ines", "email": "ines@quillmere.example", "role": "technician",
    "sites": ["AG", "SP"],
}  # fmt: skip


def text_of(answer: Any) -> str:
    return " ".join(answer.content.decode().split())


def page_of(client: Client, address: str = PEOPLE, status: int = 200) -> str:
    answer = client.get(address)
    assert answer.status_code == status
    return text_of(answer)


def account_of(actor: Any) -> Account:
    return Account.objects.get(person_id=actor.person)


def secret_in(page: str) -> str | None:
    found = re.search(r'<code id="secret">(\S+)</code>', page)
    return found[1] if found else None


def headline(page: str) -> str:
    found = re.search(r"<h1>(.*?)</h1>", page)
    assert found is not None
    return found[1]


# The list


def test_it_begins_with_who_can_sign_in_and_who_can_do_nothing(hospital: Hospital, wim: Client) -> None:
    signed_in(hospital.ruan)
    assert headline(page_of(wim)) == "Two people can sign in."
    give_role(person=hospital.ruan.person or 0, role=None, from_on=AT.date(), actor=SYSTEM, at=AT)
    Account.objects.create(username="nobody")
    page = page_of(wim)
    assert headline(page) == "One person can sign in; two accounts have no role, so they can do nothing."
    assert "Nobody of the record" in page
    assert "There is one administrator only" in page


def test_an_account_without_a_password_lets_nobody_in_and_is_not_counted(hospital: Hospital, wim: Client) -> None:
    for actor in (hospital.ruan, a_person("Bo Harrow-Lint", Role.ADMINISTRATOR)):
        signed_in(actor)
        account = account_of(actor)
        account.set_unusable_password()
        account.save()
    page = page_of(wim)
    assert headline(page) == "One person can sign in."
    assert "There is one administrator only" in page
    assert page.count("no password") == 2


def test_each_stands_with_role_sites_state_and_last_sign_in(hospital: Hospital, wim: Client) -> None:
    signed_in(hospital.odile)
    Account.objects.filter(person_id=hospital.odile.person).update(is_active=False, last_login=None)
    page = page_of(wim)
    assert "Administrator at Alderwick General and Stennet Point" in page
    assert "Manager at Alderwick General and Stennet Point" in page
    assert '<span class="account-off">switched off</span><br><span class="small">Never signed in</span>' in page
    assert "One account is switched off." in page


def test_many_are_narrowed_by_words(hospital: Hospital, wim: Client) -> None:
    assert 'role="search"' not in page_of(wim)
    for number in range(20):
        signed_in(a_person(f"Person {number}-Vell", Role.TECHNICIAN, hospital.stennet))
    assert 'role="search"' in page_of(wim)
    narrowed = page_of(wim, f"{PEOPLE}?words=STENNET+13-v")
    assert re.findall(r"/\d+/\">([^<]+)</a>", narrowed) == ["Person 13-Vell"]
    assert "No account fits “zebra”" in page_of(wim, f"{PEOPLE}?words=zebra")
    assert "At most 100 letters" in page_of(wim, f"{PEOPLE}?words={'x' * 101}", 400)
    assert "none of them unseen" in page_of(wim, f"{PEOPLE}?words=%00", 400)
    assert "There is no parameter" in page_of(wim, f"{PEOPLE}?colour=blue", 400)


def test_the_pages_cost_the_same_however_many_there_are(hospital: Hospital, wim: Client) -> None:
    addresses = [PEOPLE, f"{PEOPLE}{account_of(hospital.wim).pk}/", f"{PEOPLE}new/"]

    def statements() -> list[int]:
        counted = []
        for address in addresses:
            with CaptureQueriesContext(connection) as captured:
                assert wim.get(address).status_code == 200
            counted.append(len(captured))
        return counted

    before = statements()
    for number in range(5):
        signed_in(a_person(f"Person {number}", Role.TECHNICIAN, hospital.stennet))
    assert statements() == before


# A new account


def test_an_account_is_made_and_its_password_is_shown_once(hospital: Hospital, wim: Client) -> None:
    answer = wim.post(f"{PEOPLE}new/", INES)
    ines = Account.objects.get(username="ines")
    assert answer["Location"] == f"{PEOPLE}{ines.pk}/password/shown/"
    shown = wim.get(answer["Location"])
    password = secret_in(text_of(shown))
    assert password is not None
    assert ines.check_password(password)
    assert "no-store" in shown["Cache-Control"]
    again = page_of(wim, answer["Location"])
    assert password not in again
    assert "The password of Ines Caddock was shown once, and is not shown again." in again
    assert actor_of(ines.pk, on=AT.date()).role == Role.TECHNICIAN
    assert actor_of(ines.pk, on=AT.date()).sites == {hospital.alderwick, hospital.stennet}
    assert Entry.objects.latest("seq").person == hospital.wim.person


def test_what_is_shown_once_is_nowhere_in_clear(hospital: Hospital, wim: Client) -> None:
    answer = wim.post(f"{PEOPLE}new/", INES)
    kept = [session.get_decoded().get("shown-once") for session in Session.objects.all()]
    password = secret_in(page_of(wim, answer["Location"])) or ""
    assert len([each for each in kept if each]) == 1
    assert password not in str(kept)
    assert password not in answer["Location"]
    assert not any(session.get_decoded().get("shown-once") for session in Session.objects.all())


def test_another_administrator_and_another_page_are_shown_nothing(hospital: Hospital, wim: Client) -> None:
    bo = signed_in(a_person("Bo Harrow-Lint", Role.ADMINISTRATOR))
    address = wim.post(f"{PEOPLE}new/", INES)["Location"]
    assert secret_in(page_of(bo, address)) is None
    assert secret_in(page_of(wim, f"{PEOPLE}{account_of(hospital.wim).pk}/password/shown/")) is None
    assert secret_in(page_of(wim, address)) is not None


def test_what_waited_too_long_is_not_shown(wim: Client, monkeypatch: pytest.MonkeyPatch) -> None:
    address = wim.post(f"{PEOPLE}new/", INES)["Location"]
    monkeypatch.setattr("dashboards.shown_once._SECONDS", -1)
    assert "is not shown again" in page_of(wim, address)


def test_a_preview_of_the_page_takes_nothing_from_it(wim: Client) -> None:
    address = wim.post(f"{PEOPLE}new/", INES)["Location"]
    assert wim.head(address).status_code == 200
    assert secret_in(page_of(wim, address)) is not None


def test_what_two_forms_made_is_shown_by_both_pages(wim: Client) -> None:
    first = wim.post(f"{PEOPLE}new/", INES)["Location"]
    second = wim.post(f"{PEOPLE}new/", {**INES, "key": "k2", "username": "ida", "email": ""})["Location"]
    passwords = {secret_in(page_of(wim, address)) for address in (first, second)}
    assert None not in passwords
    assert len(passwords) == 2


def test_few_secrets_wait_and_the_oldest_gives_way(wim: Client, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr("dashboards.shown_once._MOST", 2)
    made = [{**INES, "key": name, "username": name, "email": ""} for name in ("ines", "ida", "ilse")]
    addresses = [wim.post(f"{PEOPLE}new/", each)["Location"] for each in made]
    assert [secret_in(page_of(wim, address)) is not None for address in addresses] == [False, True, True]


def test_a_form_that_is_sent_twice_makes_one_account(wim: Client) -> None:
    first, again = wim.post(f"{PEOPLE}new/", INES), wim.post(f"{PEOPLE}new/", INES)
    assert first["Location"] == again["Location"]
    assert Account.objects.filter(username="ines").count() == 1
    password = secret_in(page_of(wim, again["Location"])) or ""
    assert Account.objects.get(username="ines").check_password(password)
    other = wim.post(f"{PEOPLE}new/", {**INES, "username": "ida", "email": ""})
    assert other.status_code == 400
    assert "This form was sent before, with other words." in text_of(other)
    assert 'name="key" value="k1"' not in text_of(other)


@pytest.mark.parametrize(
    ("changed", "beside", "says"),
    [
        ({"name": ""}, "name", "Say the person"),
        ({"name": "I" * 121}, "name", "one line of at most 120 characters"),
        ({"name": "Ines\x00"}, "name", "a character that cannot be kept"),
        ({"name": "Ines\nBcc: all"}, "name", "one line"),
        ({"username": ""}, "username", "Say by what name"),
        ({"username": "i" * 151}, "username", "at most 150 characters"),
        ({"username": "i\x00nes"}, "username", "a character that cannot be kept"),
        ({"username": "PERSON7"}, "username", "already an account called"),
        ({"email": "ines"}, "email", "valid email"),
        ({"email": "ines@quillmere.example\r\nBcc: all@quillmere.example"}, "email", "valid email"),
        ({"role": ""}, "role", "Say in which role"),
        ({"role": "system"}, "role", "Choose one of these."),
        ({"role": "king"}, "role", "Choose one of these."),
        ({"sites": ["XX"]}, "sites", "Choose one of these."),
    ],
)
def test_what_is_wrong_stands_beside_its_field_and_nothing_is_lost(
    hospital: Hospital, wim: Client, changed: dict[str, Any], beside: str, says: str
) -> None:
    account_of(hospital.wim).save()
    Account.objects.filter(person_id=hospital.wim.person).update(username="person7")
    size = head().size
    answer = wim.post(f"{PEOPLE}new/", {**INES, **changed})
    assert answer.status_code == 400
    page = answer.content.decode()
    wrong = re.search(rf'id="f-{beside}-wrong">([^<]*)<', page)
    assert wrong is not None
    assert says in wrong[1]
    kept = {"name": "Ines Caddock", "username": "ines", "email": "ines@quillmere.example"}
    assert all(f'value="{value}"' in page for name, value in kept.items() if name not in changed)
    assert head().size == size
    assert Account.objects.count() == 1


def test_a_busy_record_loses_nothing_that_was_typed(wim: Client, monkeypatch: pytest.MonkeyPatch) -> None:
    def busy(**_: Any) -> None:
        raise RecordBusy

    monkeypatch.setattr("dashboards.views.people.create_account", busy)
    answer = wim.post(f"{PEOPLE}new/", INES)
    assert answer.status_code == 503
    assert 'value="Ines Caddock"' in answer.content.decode()


def test_a_key_that_cannot_be_kept_is_said_and_another_one_is_given(wim: Client) -> None:
    answer = wim.post(f"{PEOPLE}new/", {**INES, "key": "k\u20ac"})
    assert answer.status_code == 400
    found = re.search(r'name="key" value="(\w+)"', answer.content.decode())
    assert found is not None
    assert wim.post(f"{PEOPLE}new/", {**INES, "key": found[1]}).status_code == 302


# One account


def test_one_account_is_told_with_what_comes_later(hospital: Hospital, wim: Client) -> None:
    signed_in(hospital.ruan)
    address = f"{PEOPLE}{account_of(hospital.ruan).pk}/"
    assert headline(page_of(wim, address)) == "Ruan Tesk is a technician at Alderwick General."
    wim.post(f"{address}role/", {"key": "k1", "role": "auditor", "from_on": "2026-12-01"})
    wim.post(f"{address}sites/", {"key": "k2", "sites": ["SP"], "from_on": "2026-12-01"})
    page = page_of(wim, address)
    assert headline(page) == "Ruan Tesk is a technician at Alderwick General."
    for said in ("auditor", "at Stennet Point", "no longer at Alderwick General"):
        assert f"From 1 December 2026: {said}." in page


def test_role_and_sites_change_from_today(hospital: Hospital, wim: Client) -> None:
    signed_in(hospital.ruan)
    ruan = account_of(hospital.ruan)
    address = f"{PEOPLE}{ruan.pk}/"
    form = page_of(wim, f"{address}role/")
    assert '<option value="technician" selected>' in form
    assert 'value="2026-10-31"' in form
    answer = wim.post(f"{address}role/", {"key": "k1", "role": "administrator", "from_on": "2026-10-31"}, follow=True)
    assert "The role is recorded, from 31 October 2026 on." in text_of(answer)
    answer = wim.post(f"{address}sites/", {"key": "k2", "from_on": "2026-10-31"}, follow=True)
    assert headline(text_of(answer)) == "Ruan Tesk is an administrator at no site."
    ruan.refresh_from_db()
    assert ruan.is_superuser
    wim.post(f"{address}role/", {"key": "k3", "role": "none", "from_on": "2026-10-31"})
    assert headline(page_of(wim, address)) == "Ruan Tesk has no role, so this account can do nothing."
    ruan.refresh_from_db()
    assert not ruan.is_superuser


def test_the_address_in_the_record_is_where_letters_go(hospital: Hospital, wim: Client) -> None:
    made = register_person(
        name="Ines Caddock", email="ines@quillmere.example", role=Role.TECHNICIAN, sites=[], from_on=AT.date(),
        actor=SYSTEM, at=AT,
    )  # fmt: skip
    account = Account.objects.create(username="ines", person_id=made.subject)
    address = f"{PEOPLE}{account.pk}/"
    assert "<span>ines@quillmere.example</span>" in page_of(wim, address)
    assert "Now: ines@quillmere.example." in page_of(wim, f"{address}address/")


def test_a_mistyped_address_is_put_right(wim: Client) -> None:
    wim.post(f"{PEOPLE}new/", {**INES, "email": "inse@quillmere.example"})
    ines = Account.objects.get(username="ines")
    address = f"{PEOPLE}{ines.pk}/"
    assert f'href="{address}address/"' in page_of(wim, address)
    form = page_of(wim, f"{address}address/")
    assert headline(form) == "Say where letters to Ines Caddock go."
    assert 'value="inse@quillmere.example"' in form
    answer = wim.post(f"{address}address/", {"key": "k2", "email": "ines"})
    assert answer.status_code == 400
    assert re.search(r'id="f-email-wrong">[^<]*valid email', answer.content.decode())
    answer = wim.post(f"{address}address/", {"key": "k3", "email": "inse@quillmere.example"})
    assert "That is the address already." in text_of(answer)
    answer = wim.post(f"{address}address/", {"key": "k4", "email": "ines@quillmere.example"}, follow=True)
    assert "Letters go to ines@quillmere.example from today on." in text_of(answer)
    answer = wim.post(f"{address}address/", {"key": "k5", "email": ""}, follow=True)
    assert "No letters go out any more." in text_of(answer)
    ines.refresh_from_db()
    assert ines.email == ""


@pytest.mark.parametrize(
    ("changed", "beside", "says"),
    [
        ({"role": "technician"}, "role", "the role on this day already"),
        ({"from_on": "2026-10-30"}, "from_on", "A change begins on 2026-10-31 or later"),
        ({"from_on": ""}, "from_on", "Say from which day on."),
        ({"from_on": "soon"}, "from_on", "Say the day as 2026-10-31."),
        ({"from_on": "2026-12-01", "role": "administrator"}, "from_on", "begins and ends today"),
        ({"role": "system"}, "role", "Choose one of these."),
    ],
)
def test_a_role_that_makes_no_sense_is_refused_beside_its_field(
    hospital: Hospital, wim: Client, changed: dict[str, str], beside: str, says: str
) -> None:
    signed_in(hospital.ruan)
    sent = {"key": "k1", "role": "auditor", "from_on": "2026-10-31", **changed}
    answer = wim.post(f"{PEOPLE}{account_of(hospital.ruan).pk}/role/", sent)
    assert answer.status_code == 400
    assert re.search(rf'id="f-{beside}-wrong">[^<]*{says}', answer.content.decode())
    assert RoleHeld.objects.filter(person=hospital.ruan.person).count() == 1


@pytest.mark.parametrize(("role", "page"), [("technician", "/bench/"), ("manager", "/compliance/")])
def test_who_steps_down_is_told_so_where_the_new_role_starts(
    hospital: Hospital, wim: Client, role: str, page: str
) -> None:
    signed_in(a_person("Bo Harrow-Lint", Role.ADMINISTRATOR))
    address = f"{PEOPLE}{account_of(hospital.wim).pk}/role/"
    answer = wim.post(address, {"key": "k1", "role": role, "from_on": "2026-10-31"}, follow=True)
    assert answer.redirect_chain == [(page, 302)]
    assert answer.status_code == 200
    assert "The role is recorded, from 31 October 2026 on." in text_of(answer)


def test_the_last_administrator_stays_one(hospital: Hospital, wim: Client) -> None:
    address = f"{PEOPLE}{account_of(hospital.wim).pk}/"
    answer = wim.post(f"{address}role/", {"key": "k1", "role": "manager", "from_on": "2026-10-31"})
    assert answer.status_code == 400
    assert "This is the last account of an administrator" in text_of(answer)
    answer = wim.post(f"{address}switch/", {"key": "k2", "to": "off"})
    assert answer.status_code == 400
    assert "This is your own account" in text_of(answer)
    answer = wim.post(f"{address}password/", {})
    assert answer.status_code == 400
    assert "This is your own account" in text_of(answer)
    assert headline(page_of(wim)) == "One person can sign in."


def test_switched_off_one_is_out_at_once_and_on_again_in(hospital: Hospital, wim: Client) -> None:
    ruan = signed_in(hospital.ruan)
    address = f"{PEOPLE}{account_of(hospital.ruan).pk}/"
    assert ruan.get("/bench/").status_code == 200
    assert "Its sessions end at once" in page_of(wim, f"{address}switch/")
    answer = wim.post(f"{address}switch/", {"to": "off"}, follow=True)
    assert headline(text_of(answer)) == "The account of Ruan Tesk is switched off: nobody signs in by it."
    assert "/accounts/login/" in ruan.get("/bench/")["Location"]
    assert "Switch the account of Ruan Tesk on again?" in page_of(wim, f"{address}switch/")
    wim.post(f"{address}switch/", {"to": "on"})
    assert account_of(hospital.ruan).is_active
    assert wim.post(f"{address}switch/", {"to": "perhaps"}).status_code == 400
    assert account_of(hospital.ruan).is_active


def test_a_new_password_is_shown_once_and_given_once(hospital: Hospital, wim: Client) -> None:
    signed_in(hospital.ruan)
    address = f"{PEOPLE}{account_of(hospital.ruan).pk}/password/"
    key = re.search(r'name="key" value="(\w+)"', page_of(wim, address))
    assert key is not None
    first, again = wim.post(address, {"key": key[1]}), wim.post(address, {"key": key[1]})
    assert first["Location"] == again["Location"] == f"{address}shown/"
    page = page_of(wim, f"{address}shown/")
    assert "This form was sent before" in page
    assert account_of(hospital.ruan).check_password(secret_in(page) or "")
    assert secret_in(page_of(wim, f"{address}shown/")) is None


# Who comes in


ADDRESSES = ["", "new/", "{}/", "{}/role/", "{}/sites/", "{}/switch/", "{}/password/", "{}/password/shown/"]


@pytest.mark.parametrize("role", [role for role in Role if role not in {Role.ADMINISTRATOR, Role.SYSTEM}])
def test_nobody_else_comes_in(hospital: Hospital, role: Role) -> None:
    browser = signed_in(a_person("Per Aldous", role, hospital.alderwick, hospital.stennet))
    signed_in(hospital.wim)
    wim = account_of(hospital.wim).pk
    size = head().size
    for address in ADDRESSES:
        assert browser.get(f"{PEOPLE}{address.format(wim)}").status_code == 403
        assert browser.post(f"{PEOPLE}{address.format(wim)}", {**INES, "to": "off"}).status_code == 403
    assert account_of(hospital.wim).is_active
    assert head().size == size


def test_an_account_that_is_not_there_is_not_found(wim: Client) -> None:
    for address in ADDRESSES[2:]:
        assert wim.get(f"{PEOPLE}{address.format(4040)}").status_code == 404
        assert wim.post(f"{PEOPLE}{address.format(4040)}").status_code == 404


def test_nothing_is_done_without_the_pages_own_token(hospital: Hospital) -> None:
    signed_in(hospital.ruan)
    browser = Client(enforce_csrf_checks=True)
    signed_in(hospital.wim)
    browser.force_login(account_of(hospital.wim), backend="allauth.account.auth_backends.AuthenticationBackend")
    ruan, size = account_of(hospital.ruan).pk, head().size
    for address in ("new/", f"{ruan}/role/", f"{ruan}/sites/", f"{ruan}/switch/", f"{ruan}/password/"):
        assert browser.post(f"{PEOPLE}{address}", {**INES, "to": "off", "from_on": "2026-10-31"}).status_code == 403
    assert account_of(hospital.ruan).is_active
    assert head().size == size


def test_what_was_typed_before_the_session_ended_is_still_there(hospital: Hospital, wim: Client) -> None:
    account = account_of(hospital.wim)
    browser, signs_in = Client(), {"login": account.username, "password": "a-long-password-1"}
    browser.post("/accounts/login/", signs_in)
    Session.objects.all().delete()
    answer = browser.post(f"{PEOPLE}new/", INES)
    page = text_of(browser.post(answer["Location"], signs_in, follow=True))
    assert "You were signed out before this was sent" in page
    assert 'value="Ines Caddock"' in page
    assert not Account.objects.filter(username="ines").exists()
