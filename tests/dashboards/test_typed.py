"""A form that is sent after the session has ended is not lost: it stands there again after the sign-in."""

import pytest
from django.contrib.sessions.models import Session
from django.test import Client

from dashboards.typed import SAID
from pmcore.engines.vocabulary import Role
from pmcore.models import Account
from pmcore.queries.head import head
from tests.cast import a_person
from tests.dashboards.signed_in import set_clock, signed_in
from tests.story import a_story, day, moment

pytestmark = pytest.mark.django_db

PASSWORD = "a-long-password-1"


@pytest.fixture
def story(monkeypatch):
    story = a_story()
    set_clock(monkeypatch, moment(day(6, 20)))
    return story


@pytest.fixture
def signed_out(story):
    """A browser whose session ended while a form was open."""
    signed_in(story.manager)
    client = Client()
    sign_in_again(client, "/bench/")
    Session.objects.all().delete()
    return client


def sign_in_again(client, address: str, username: str | None = None):
    sent = client.get(address)
    assert "next=" in sent["Location"]
    username = username or Account.objects.get().username
    return client.post(sent["Location"], {"login": username, "password": PASSWORD}, follow=True)


def test_a_sheet_that_was_filled_in(signed_out, story):
    address, size = f"/bench/{story.due().pk}/", head().size
    answer = signed_out.post(address, {"note": "The left wheel squeaks.", "frame:outcome": "passed", "key": "k-1"})
    assert answer.status_code == 302
    page = sign_in_again(signed_out, address).content.decode()
    assert SAID in page
    assert "The left wheel squeaks." in page
    assert 'value="k-1"' in page
    assert head().size == size


def test_it_is_told_once(signed_out, story):
    address = f"/bench/{story.due().pk}/"
    signed_out.post(address, {"note": "The left wheel squeaks."})
    sign_in_again(signed_out, address)
    assert SAID not in signed_out.get(address).content.decode()


def test_what_was_ticked_in_the_schedule(signed_out, story):
    address, due = "/schedule/?week=2026-07-13", story.due().pk
    signed_out.post(address, {"due": [due], "on": "2026-07-14", "do": "give"})
    page = sign_in_again(signed_out, address).content.decode()
    assert SAID in page
    assert 'value="2026-07-14"' in page


def test_another_address_shows_nothing_of_it(signed_out, story):
    signed_out.post("/schedule/?week=2026-07-13", {"on": "2026-07-14"})
    assert SAID not in sign_in_again(signed_out, "/schedule/").content.decode()


def test_somebody_else_at_the_same_browser_is_shown_nothing_of_it(signed_out, story):
    address = f"/bench/{story.due().pk}/"
    signed_out.post(address, {"note": "The left wheel squeaks."})
    other = Account.objects.create_user("another", password=PASSWORD, person_id=a_person("Saskia", Role.MANAGER).person)
    page = sign_in_again(signed_out, address, other.username)
    assert "squeaks" not in page.content.decode()


def test_where_nobody_is_known_to_have_typed_it_nothing_is_kept(signed_out, story):
    address = f"/bench/{story.due().pk}/"
    signed_out.cookies["last-account"] = "1:forged"
    signed_out.post(address, {"note": "The left wheel squeaks."})
    assert "squeaks" not in sign_in_again(signed_out, address, Account.objects.get().username).content.decode()
