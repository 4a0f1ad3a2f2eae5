"""A page that was made a moment ago is sent again as long as it would come out the same, and no longer."""

import datetime as dt

import pytest
from django.contrib.messages import info
from django.contrib.sessions.models import Session
from django.db import connection
from django.test import Client
from django.test.utils import CaptureQueriesContext

from pmcore.models import Account
from tests.dashboards.signed_in import set_clock, signed_in
from tests.story import Story, a_story, day, moment

pytestmark = pytest.mark.django_db

ADDRESS = "/compliance/?period=2026-07"


@pytest.fixture
def story(monkeypatch) -> Story:
    story = a_story()
    set_clock(monkeypatch, moment(day(8, 31)))
    return story


@pytest.fixture
def manager(story: Story) -> Client:
    client = signed_in(story.manager)
    client.get("/accounts/login/")  # which sets the cookie that forms need
    client.get(ADDRESS)
    return client


def statements(client: Client, address: str = ADDRESS) -> int:
    with CaptureQueriesContext(connection) as captured:
        assert client.get(address).status_code == 200
    return len(captured)


def test_the_same_page_again_costs_one_statement(manager):
    first = manager.get(ADDRESS)
    assert statements(manager) == 1
    again = manager.get(ADDRESS)
    assert again.content == first.content
    assert again["Content-Security-Policy"] == first["Content-Security-Policy"]
    assert again["Cache-Control"] == first["Cache-Control"]


def test_another_address_is_another_page(manager):
    assert statements(manager, f"{ADDRESS}&group_by=area") > 1


def test_whatever_is_written_makes_it_anew(manager, story):
    story.inspect(day(7, 10))
    page = manager.get(ADDRESS).content.decode()
    assert "1 was done inside their window" in page


def test_a_session_that_ended_opens_nothing(manager):
    Session.objects.all().delete()
    assert manager.get(ADDRESS).status_code == 302


def test_a_session_whose_time_is_over_opens_nothing(manager):
    Session.objects.update(expire_date=dt.datetime(2020, 1, 1, tzinfo=dt.UTC))
    assert manager.get(ADDRESS).status_code == 302


def test_an_account_that_was_switched_off_opens_nothing(manager):
    Account.objects.update(is_active=False)
    assert manager.get(ADDRESS).status_code == 302


def test_an_account_with_another_password_opens_nothing(manager):
    account = Account.objects.get()
    account.set_password("another-long-password-2")
    account.save()
    assert manager.get(ADDRESS).status_code == 302


def test_an_account_that_is_somebody_elses_now_shows_what_that_person_may_see(manager):
    assert manager.get(ADDRESS).status_code == 200
    Account.objects.update(person=None)
    assert manager.get(ADDRESS).status_code == 403


def test_nobody_else_gets_it(manager):
    assert Client().get(ADDRESS).status_code == 302


def test_another_day_is_another_page(manager, monkeypatch):
    set_clock(monkeypatch, moment(day(9, 1)))
    assert "as of 1 September 2026" in manager.get(ADDRESS).content.decode()


def test_what_is_said_once_is_said_once(story, monkeypatch):
    client = signed_in(story.manager)
    client.get("/accounts/login/")
    monkeypatch.setattr("dashboards.views.compliance.asking", _saying("Saved.", monkeypatch))
    assert "Saved." in client.get(ADDRESS).content.decode()
    monkeypatch.undo()
    set_clock(monkeypatch, moment(day(8, 31)))
    assert "Saved." not in client.get(ADDRESS).content.decode()


def _saying(words, monkeypatch):
    from dashboards.access import asking

    said = []

    def ask(request):
        if not said:
            info(request, words)
            said.append(words)
        return asking(request)

    return ask
