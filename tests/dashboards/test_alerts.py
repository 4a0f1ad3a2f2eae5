"""Alerts: a person sees what they were told of, says that they know, and it goes away when it is done."""

from typing import Any

import pytest
from django.contrib.sessions.models import Session
from django.db import connection
from django.test import Client
from django.test.utils import CaptureQueriesContext

from pmcore.alert_mail import compose
from pmcore.engines.records import SYSTEM
from pmcore.engines.vocabulary import Role
from pmcore.models import Account, Alert, AlertAcknowledgement, Mail
from pmcore.services.alert_rules import make_default_rules
from pmcore.services.keep_standings import keep_standings
from pmcore.services.mails import send
from pmcore.services.people import give_role
from tests.alert_cast import CLOSES, FIRST, Ward, a_ward
from tests.dashboards.signed_in import set_clock, signed_in
from tests.due_work import somebody
from tests.services.test_alerts import ONE
from tests.services.test_mails import use
from tests.sink import free_port
from tests.story import moment

pytestmark = pytest.mark.django_db

LATE = CLOSES + ONE


@pytest.fixture
def ward(monkeypatch: pytest.MonkeyPatch) -> Ward:
    ward = a_ward()
    make_default_rules(from_on=FIRST, actor=SYSTEM, at=moment(FIRST, 0))
    ward.sweep(LATE)
    set_clock(monkeypatch, moment(LATE, 8))
    return ward


@pytest.fixture
def ruan(ward: Ward) -> Client:
    return signed_in(ward.work.ruan)


def page_of(client: Client, address: str = "/alerts/", status: int = 200) -> str:
    answer = client.get(address)
    assert answer.status_code == status
    return " ".join(answer.content.decode().split())


def test_it_begins_with_what_matters_and_counts_on_every_page(ruan: Client) -> None:
    page = page_of(ruan)
    assert "<h1>Three inspections are overdue.</h1>" in page
    assert "None of it is acknowledged yet." in page
    assert page.count("1 day overdue; the window closed on 15 July 2026. It is given to nobody.") == 3
    for address in ("/alerts/", "/compliance/?period=2026-07", "/bench/"):
        assert "Alerts&nbsp;(3" in page_of(ruan, address)


def test_who_was_told_of_nothing_reads_that(ward: Ward) -> None:
    page = page_of(signed_in(somebody("Ida Sorell-Vane", Role.CLINICAL_LEAD, FIRST, *ward.work.story.sites)))
    assert "<h1>Nothing waits for you.</h1>" in page
    assert "Alerts&nbsp;(" not in page


def test_a_page_that_was_kept_is_made_anew_when_something_is_told(ward: Ward) -> None:
    manager = signed_in(ward.work.story.manager)
    manager.get("/accounts/login/")
    assert "Alerts&nbsp;(" not in page_of(manager, "/compliance/?period=2026-06")
    ward.sweep_at(moment(CLOSES + 30 * ONE, 1))
    assert "Alerts&nbsp;(3" in page_of(manager, "/compliance/?period=2026-06")


def test_somebody_says_that_they_know(ward: Ward, ruan: Client) -> None:
    alert = Alert.objects.get(device=ward.work.devices[1])
    answer = ruan.post(f"/alerts/{alert.pk}/acknowledgement/", {"note": " Booked for Friday. "}, follow=True)
    page = " ".join(answer.content.decode().split())
    assert answer.redirect_chain == [("/alerts/", 302)]
    assert "It is recorded that you know of this." in page
    assert "Ruan Tesk knows since 16 July 2026: “Booked for Friday.”" in page
    assert "1 of 3 are acknowledged and stand at the end." in page
    assert "Alerts&nbsp;(2" in page
    again = ruan.post(f"/alerts/{alert.pk}/acknowledgement/", {}, follow=True)
    assert "You said before that you know of this." in again.content.decode()
    assert AlertAcknowledgement.objects.count() == 1


@pytest.mark.parametrize("note", ["x" * 501, "un\u202eseen"])
def test_a_note_that_will_not_do_stands_beside_its_error(ward: Ward, ruan: Client, note: str) -> None:
    alert = Alert.objects.filter(device=ward.work.devices[1]).get()
    answer = ruan.post(f"/alerts/{alert.pk}/acknowledgement/", {"note": note})
    page = answer.content.decode()
    assert answer.status_code == 400
    assert note in page
    assert f'id="wrong-{alert.pk}"' in page
    assert f'aria-describedby="wrong-{alert.pk}"' in page
    assert '<details class="no-print" open>' in page
    assert not AlertAcknowledgement.objects.exists()


def test_a_refusal_is_one_sentence(ward: Ward, ruan: Client) -> None:
    person = ward.work.ruan.person or 0
    alert = Alert.objects.order_by("pk")[0]
    give_role(person=person, role=Role.AUDITOR, from_on=LATE, actor=SYSTEM, at=moment(LATE, 7))
    page = ruan.post(f"/alerts/{alert.pk}/acknowledgement/", {"note": "Booked."}).content.decode()
    assert "The role auditor may not acknowledge an alert.<" in page


def test_what_one_was_not_told_of_is_not_there(ward: Ward) -> None:
    alert = Alert.objects.filter(device=ward.work.devices[1]).get()
    for actor in (ward.work.tove, ward.work.jorun):
        assert signed_in(actor).post(f"/alerts/{alert.pk}/acknowledgement/").status_code == 404
    assert not AlertAcknowledgement.objects.exists()


def test_what_was_typed_before_the_session_ended_is_still_there(ward: Ward, ruan: Client) -> None:
    alert = Alert.objects.filter(device=ward.work.devices[1]).get()
    address = f"/alerts/{alert.pk}/acknowledgement/"
    username = Account.objects.get(person_id=ward.work.ruan.person).username
    browser, signs_in = Client(), {"login": username, "password": "a-long-password-1"}
    browser.post("/accounts/login/", signs_in)
    Session.objects.all().delete()
    answer = browser.post(address, {"note": "Booked for Friday."})
    assert answer.status_code == 302
    assert "/accounts/login/" in answer["Location"]
    answer = browser.post(answer["Location"], signs_in, follow=True)
    page = answer.content.decode()
    assert answer.redirect_chain[-1][0] == address
    assert "Booked for Friday.</textarea>" in page
    assert "You were signed out before this was sent" in page
    assert browser.get(address)["Location"] == "/alerts/", "told once"


@pytest.mark.parametrize("query", ["after=x", "colour=blue", "after=1&after=2"])
def test_a_wrong_parameter_is_named(ruan: Client, query: str) -> None:
    page = page_of(ruan, f"/alerts/?{query}", 400)
    assert query.partition("=")[0] in page
    assert "Three inspections are overdue" in page


def test_who_is_told_of_what_is_read_by_the_office_alone(ward: Ward, ruan: Client) -> None:
    assert ruan.get("/alerts/rules/").status_code == 403
    page = page_of(signed_in(ward.work.story.manager), "/alerts/rules/")
    assert "<h1>Six rules say who is told of what, and when.</h1>" in page
    assert "from day 1 on: the technician<br>from day 7 on: the scheduler<br>from day 30 on: the manager" in page
    assert "30 days before: the scheduler<br>on the day: the manager" in page
    assert "At once." in page


# Letters


@pytest.fixture
def folder(settings: Any, tmp_path: Any) -> Any:
    settings.EMAIL_BACKEND, settings.EMAIL_FILE_PATH = "pmcore.mail_folder.EmailBackend", tmp_path / "mail"
    return tmp_path / "mail"


def administrator(ward: Ward) -> Client:
    return signed_in(somebody("Wim Ostrava-Keel", Role.ADMINISTRATOR, FIRST, *ward.work.story.sites))


def sent(ward: Ward, person: int | None) -> Mail:
    Account.objects.update_or_create(
        person_id=person, defaults={"username": f"p{person}", "email": "r@quillmere.example"}
    )
    mail = Mail.objects.get(person=person)
    for _ in range(2):
        send(mail=mail.pk, at=moment(LATE, 8), seconds=60, compose=compose)
    return Mail.objects.get(pk=mail.pk)


def test_letters_in_the_folder_are_read_by_administrators_alone(ward: Ward, folder: Any) -> None:
    mail = sent(ward, ward.work.ruan.person)
    wim = administrator(ward)
    page = page_of(wim, "/alerts/letters/")
    assert "<h1>1 letter waits to be sent.</h1>" in page
    assert "letters are written into a folder, and can be read here" in page
    assert f'href="/alerts/letters/{mail.pk}/"' in page
    letter = page_of(wim, f"/alerts/letters/{mail.pk}/")
    assert "Three inspections are overdue" in letter
    assert mail.message_id.strip("<>") in letter
    assert wim.get(f"/alerts/letters/{mail.pk}/letter.eml").content == next(folder.glob("*.eml")).read_bytes()
    assert wim.get(f"/alerts/letters/{Mail.objects.exclude(pk=mail.pk).get().pk}/").status_code == 404
    for actor in (ward.work.ruan, ward.work.story.manager):
        browser = signed_in(actor) if actor is not ward.work.ruan else Client()
        assert browser.get(f"/alerts/letters/{mail.pk}/").status_code in (302, 403)
        assert "Three inspections" not in browser.get(f"/alerts/letters/{mail.pk}/").content.decode()


def test_a_letter_written_twice_is_one_file(ward: Ward, folder: Any) -> None:
    mail = sent(ward, ward.work.ruan.person)
    Mail.objects.filter(pk=mail.pk).update(state="waiting")
    assert send(mail=mail.pk, at=moment(LATE, 9), seconds=60, compose=compose) == "sent"
    assert len(list(folder.iterdir())) == 1


def test_a_silent_mail_server_is_told_of(ward: Ward, settings: Any) -> None:
    use(settings, free_port())
    sent(ward, ward.work.ruan.person)
    page = page_of(administrator(ward), "/alerts/letters/")
    assert "The mail server does not answer; 2 letters wait for it." in page
    assert "Connection refused" in page
    assert "It is tried again at 13:01 UTC on 16 July 2026" in page
    assert "Tried 1 time in vain" in page


def test_a_state_that_there_is_not_is_named(ward: Ward) -> None:
    wim = administrator(ward)
    assert "is none of" in page_of(wim, "/alerts/letters/?state=asleep", 400)
    assert "No letter is in this state." in page_of(wim, "/alerts/letters/?state=sent")


# What it costs


def test_the_list_takes_the_same_statements_however_long_it_is(monkeypatch: pytest.MonkeyPatch) -> None:
    ward = a_ward(11)
    make_default_rules(from_on=FIRST, actor=SYSTEM, at=moment(FIRST, 0))
    ward.sweep(LATE)
    keep_standings()
    set_clock(monkeypatch, moment(LATE, 8))
    ruan = signed_in(ward.work.ruan)
    few = [alert.pk for alert in Alert.objects.all()[:2]]
    counts = []
    for over_at in (moment(LATE), None):
        Alert.objects.exclude(pk__in=few).update(over_at=over_at)
        with CaptureQueriesContext(connection) as captured:
            page = page_of(ruan)
        counts.append(len(captured))
    assert "<h1>11 inspections are overdue.</h1>" in page
    assert "Alerts&nbsp;(11" in page
    assert counts[0] == counts[1] == 65, counts
