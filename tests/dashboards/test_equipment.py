"""Equipment: a device is found by what somebody knows of it, and its page tells what happened."""

import pytest
from django.db import connection
from django.test import Client
from django.test.utils import CaptureQueriesContext

from pmcore.engines.vocabulary import Outcome
from tests.dashboards.signed_in import set_clock, signed_in
from tests.story import Story, a_story, day, moment

pytestmark = pytest.mark.django_db


@pytest.fixture
def story(monkeypatch) -> Story:
    story = a_story()
    story.add_device("ZZ-9", tag="T-77", area=story.areas[1])
    set_clock(monkeypatch, moment(day(8, 31)))
    return story


@pytest.fixture
def manager(story: Story) -> Client:
    return signed_in(story.manager)


@pytest.mark.parametrize("words", ["T-77", "zz-9", "zz orvane", "stennet T-77"])
def test_it_is_found_by_its_words(manager, words):
    page = manager.get("/equipment/", {"words": words}).content.decode()
    found = "ZZ-9" in page
    assert found is not words.startswith("stennet")


def test_nothing_found_says_what_to_try(manager):
    page = manager.get("/equipment/?words=nosuch").content.decode()
    assert "No device fits" in page
    assert "Try fewer words" in page


@pytest.mark.parametrize("words", ["a\x00b", "x" * 101, "\u202e"])
def test_words_that_cannot_be_searched_for(manager, words):
    answer = manager.get("/equipment/", {"words": words})
    assert answer.status_code == 400
    assert "characters that can be seen are searched for" in answer.content.decode()


@pytest.mark.parametrize(
    ("query", "says"),
    [
        ("colour=blue", "There is no parameter"),
        ("device_class=abc", "There is no such device class."),
        ("state=asleep", "is none of"),
        ("after=x", "That page cannot be found"),
    ],
)
def test_what_will_not_do_is_said_and_the_words_are_kept(manager, query, says):
    answer = manager.get(f"/equipment/?words=kept-words&{query}")
    page = answer.content.decode()
    assert answer.status_code == 400
    assert says in page
    assert 'value="kept-words"' in page


def test_another_site_is_refused_as_the_interface_does(manager):
    answer = manager.get("/equipment/?site=999999")
    assert answer.status_code == 403
    assert "This is none of your sites." in answer.content.decode()


def test_fifty_at_a_time(manager, story):
    for number in range(55):
        story.add_device(f"N-{number:02}")
    first = manager.get("/equipment/?words=N-")
    assert "More than fifty devices fit" in first.content.decode()
    second = manager.get(f"/equipment/?{first.context['next']}")
    assert len(first.context["listed"].devices) + len(second.context["listed"].devices) == 55


def test_its_page_tells_what_happened_and_what_is_due(manager, story):
    story.inspect(day(7, 10), outcome=Outcome.FAILED)
    page = manager.get(f"/equipment/{story.device}/").content.decode()
    assert "It may not be used: one hold in force." in page
    assert "Held: an inspection failed. It may not be used." in page
    assert "Failed: frame, brakes." in page
    assert "Recorded by Odile Brandt-Ferro" in page
    assert '15 June 2026</th><td><span class="state state-met">met</span>' in page


def test_a_device_of_another_site_is_not_there(manager, story):
    assert manager.get("/equipment/999999999/").status_code == 404


def test_a_device_page_takes_the_same_statements_however_much_happened(manager, story):
    def statements() -> int:
        with CaptureQueriesContext(connection) as captured:
            assert manager.get(f"/equipment/{story.device}/").status_code == 200
        return len(captured)

    before = statements()
    story.inspect(day(7, 10))
    for on in (day(7, 12), day(7, 14)):
        story.search(on)
    assert statements() == before


def test_the_list_takes_the_same_statements_however_long_it_is(manager, story):
    def statements(query: str) -> int:
        with CaptureQueriesContext(connection) as captured:
            assert manager.get(f"/equipment/?{query}").status_code == 200
        return len(captured)

    # Without a search, what nobody has answered yet is read too.
    everything, search = "", f"site={story.sites[0]}&state=in_service&words=N"
    before = [statements(everything), statements(search)]
    for number in range(20):
        story.add_device(f"N-{number:02}")
    assert [statements(everything), statements(search)] == before
