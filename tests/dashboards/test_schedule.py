"""The schedule: seen by its roles, given out once, and nothing that was ticked or typed is lost."""

import csv
import re
from html import unescape
from typing import Any

import pytest
from django.db import connection
from django.test import Client
from django.test.utils import CaptureQueriesContext

from dashboards.giving_out import GivingOut
from pmcore.engines.vocabulary import AttemptOutcome, Half, Role
from pmcore.models import Assignment
from pmcore.queries.head import head
from pmcore.services.assignments import assign_inspections
from pmcore.services.devices import set_tag
from pmcore.services.keep_standings import keep_standings
from tests.dashboards.signed_in import set_clock, signed_in
from tests.due_work import AT, TODAY, DueWork, some_due_work, somebody
from tests.story import day, moment

pytestmark = pytest.mark.django_db

STATEMENTS = 74
WEEK = "week=2026-07-13"  # its Sunday is after the close


@pytest.fixture(autouse=True)
def on_that_day(monkeypatch):
    set_clock(monkeypatch, AT)


def text_of(response) -> str:
    """The page as it is read."""
    return re.sub(r"\s+", " ", unescape(re.sub(r"<[^>]+>", " ", response.content.decode())))


def give(browser: Client, work: DueWork, address: str = f"/schedule/?{WEEK}", **changed: Any):
    sent = {
        "due": work.dues, "person": work.ruan.person, "on": "2026-06-02", "half": "AM", "do": "give",
        "seen": head().size, "key": GivingOut().key,
    }  # fmt: skip
    return browser.post(address, {**sent, **changed})


def test_the_first_sentence_says_how_many_are_given_to_nobody():
    work = some_due_work(3)
    assign_inspections(
        due_inspections=[work.due(0)], person=work.ruan.person, on=TODAY, half=None, actor=work.jorun, at=AT
    )
    page = text_of(signed_in(work.jorun).get(f"/schedule/?{WEEK}"))
    assert (
        "Of 3 inspections that close by Sunday 19 July 2026, 2 are given to nobody; none of them is high-risk." in page
    )


def test_nothing_to_do_says_so_and_offers_a_way_on():
    work = some_due_work(1)
    page = text_of(signed_in(work.jorun).get("/schedule/?week=2026-06-01"))
    assert "Nothing is to be done that closes by Sunday 7 June 2026." in page
    assert "Show this week at all sites" in page


@pytest.mark.parametrize(
    ("role", "status"),
    [
        (Role.SCHEDULER, 200), (Role.MANAGER, 200), (Role.TECHNICIAN, 200), (Role.AUDITOR, 200),
        (Role.ADMINISTRATOR, 200), (Role.CLINICAL_LEAD, 403), (Role.PROVIDER, 403),
    ],
)  # fmt: skip
def test_who_sees_it_and_who_may_give_out(role, status):
    work = some_due_work(1)
    browser = signed_in(somebody("Quen Audley-Marr", role, work.story.begins_on, *work.story.sites))
    response = browser.get(f"/schedule/?{WEEK}")
    assert response.status_code == status
    assert (b'name="due"' in response.content) == (role in {Role.SCHEDULER, Role.MANAGER})
    if role not in {Role.SCHEDULER, Role.MANAGER}:
        assert give(browser, work).status_code == 403
        assert Assignment.objects.count() == 0


def test_nobody_signed_in_goes_to_the_sign_in_and_comes_back():
    response = Client().get(f"/schedule/?{WEEK}")
    assert response.status_code == 302
    assert response.url == f"/accounts/login/?next=/schedule/%3F{WEEK.replace('=', '%3D')}"


def test_giving_says_what_happened_and_keeps_the_filters():
    work = some_due_work(2)
    browser = signed_in(work.jorun)
    response = give(browser, work, f"/schedule/?{WEEK}&site={work.story.sites[0]}")
    assert response.url == f"/schedule/?week=2026-07-13&site={work.story.sites[0]}"
    page = text_of(browser.get(response.url))
    assert "2 inspections are given to Ruan Tesk for Tuesday 2 June 2026, in the morning." in page
    assert "That day Ruan Tesk has 2 to do, 1 h 20 min by the sheets." in page
    assert "All 2 inspections that close by Sunday 19 July 2026 are given out." in page


def test_a_caution_is_said_with_it():
    work = some_due_work(1)
    browser = signed_in(work.jorun)
    page = text_of(browser.get(give(browser, work, on="2026-07-18").url))
    assert "by that day the window has closed for OM-1." in page
    assert "nobody is expected to work that day where OM-1 stands." in page


def test_taking_off_says_what_happened():
    work = some_due_work(1)
    browser = signed_in(work.jorun)
    give(browser, work)
    page = text_of(browser.get(give(browser, work, do="take_off").url))
    assert "One inspection is taken off; nobody is to do it now." in page
    again = text_of(browser.get(give(browser, work, do="take_off").url))
    assert "None of them was given to anybody; nothing was written." in again


def test_a_double_submit_gives_out_once():
    work = some_due_work(2)
    browser = signed_in(work.jorun)
    key = GivingOut().key
    seen = head().size
    first = give(browser, work, key=key, seen=seen)
    size = head().size
    second = give(browser, work, key=key, seen=seen)
    assert (first.status_code, second.status_code) == (302, 302)
    assert head().size == size


@pytest.mark.parametrize(
    ("changed", "field", "says"),
    [
        ({"person": ""}, "g-person", "Say who is to do them."),
        ({"on": ""}, "g-on", "Say on which day."),
        ({"on": "2026-05-31"}, "g-on", "2026-05-31 is over"),
        ({"on": "yesterday"}, "g-on", "'yesterday' is no date"),
        ({"half": "NIGHT"}, "g-half", "'NIGHT' is none of AM, PM."),
    ],
)
def test_what_is_wrong_stands_beside_its_field_and_all_the_rest_is_kept(changed, field, says):
    work = some_due_work(3)
    response = give(signed_in(work.jorun), work, due=work.dues[:2], **changed)
    page = response.content.decode()
    assert response.status_code == 400
    assert says in unescape(re.search(rf'id="{field}-wrong"[^>]*>([^<]*)<', page).group(1))
    ticked = {int(due) for due in re.findall(r'name="due"[^>]* value="(\d+)" checked', page)}
    assert ticked == set(work.dues[:2])
    if "on" not in changed:
        assert 'value="2026-06-02"' in page
    if "half" not in changed:
        assert '<option value="AM" selected>' in page
    if "person" not in changed:
        assert f'<option value="{work.ruan.person}" selected>' in page
    assert Assignment.objects.count() == 0


def test_nothing_ticked_is_said_above_the_list():
    work = some_due_work(1)
    page = give(signed_in(work.jorun), work, due=[])
    assert page.status_code == 400
    assert "Tick at least one inspection." in text_of(page)


@pytest.mark.parametrize(
    "changed", [{"key": ""}, {"key": "ü"}, {"due": ["9" * 40]}, {"due": ["x"]}, {"colour": "blue"}, {"seen": "x"}]
)
def test_a_form_that_is_not_whole_is_refused(changed):
    work = some_due_work(1)
    response = give(signed_in(work.jorun), work, **changed)
    assert response.status_code == 400
    assert 'id="due-wrong"' in response.content.decode()
    assert 'value="2026-06-02"' in response.content.decode()
    assert Assignment.objects.count() == 0


def test_somebody_of_another_site_is_refused_by_name():
    work = some_due_work(1)
    page = give(signed_in(work.jorun), work, person=work.tove.person)
    assert page.status_code == 400
    assert "Tove Halvard-Quist does not work at Alderwick General." in text_of(page)


def test_of_two_schedulers_the_second_is_told_and_keeps_the_ticks():
    work = some_due_work(2)
    second = signed_in(work.jorun)
    seen = head().size
    assign_inspections(
        due_inspections=[work.due(0)], person=work.saskia.person, on=TODAY, half=None, actor=work.story.manager, at=AT
    )
    page = give(second, work, seen=seen)
    assert page.status_code == 400
    assert "changed hands since you looked: it is given to Saskia Varnholt-Ede now" in text_of(page)
    assert len(re.findall(r'name="due"[^>]* checked', page.content.decode())) == 2


def test_ticks_of_another_sites_work_are_refused():
    work = some_due_work(1)
    elsewhere = somebody("Quen Audley-Marr", Role.SCHEDULER, work.story.begins_on, work.story.sites[1])
    page = give(signed_in(elsewhere), work)
    assert page.status_code == 400
    assert Assignment.objects.count() == 0


def test_tick_all_needs_no_script():
    work = some_due_work(3)
    page = signed_in(work.jorun).get(f"/schedule/?{WEEK}&tick=all").content.decode()
    assert len(re.findall(r'name="due"[^>]* checked', page)) == 3


@pytest.mark.parametrize(
    ("query", "says"),
    [
        ("colour=blue", "There is no parameter 'colour'"),
        ("week=soon", "week: 'soon' is no date"),
        ("week=2026-06-01&week=2026-06-08", "week is given 2 times"),
        ("risk_class=medium", "'medium' is none of life_support, high_risk, other."),
        ("state=lost", "'lost' is none of"),
        ("given_to=somebody", "is neither a person's number nor 'nobody'"),
        ("after=2026-06-01", "is no place in the list"),
        ("by=colour", "'colour' is none of day, site."),
        ("known=99999999", "entries, not 99999999"),
    ],
)
def test_what_cannot_be_asked_is_refused_and_what_was_asked_is_kept(query, says):
    work = some_due_work(1)
    browser = signed_in(work.jorun)
    for address in ("/schedule/", "/schedule/rows.csv"):
        page = browser.get(f"{address}?{query}&words=T-00")
        assert page.status_code == 400
        assert says in text_of(page)
        assert 'value="T-00"' in page.content.decode()


@pytest.mark.parametrize("due", ["9" * 5_000, "9" * 18, "1,x", "-1", "١"])
def test_a_tick_that_is_none_of_ours_is_refused_and_named(due):
    work = some_due_work(1)
    answer = give(signed_in(work.jorun), work, due=[due, work.due()])
    assert answer.status_code == 400
    assert "due:" in text_of(answer)
    assert f'value="{work.due()}" checked' in answer.content.decode()
    assert not Assignment.objects.exists()


@pytest.mark.parametrize("week", ["9999-12-31", "0001-01-01"])
def test_a_week_at_the_end_of_the_calendar_is_refused(week):
    work = some_due_work(1)
    answer = signed_in(work.jorun).get(f"/schedule/people/{work.ruan.person}/?week={week}")
    assert answer.status_code == 400
    assert f"{week} lies outside the years 1900 to 2200." in text_of(answer)


@pytest.mark.parametrize("path", ["", "rows.csv"])
def test_another_site_is_refused_as_the_interface_does(path):
    work = some_due_work(1)
    assert signed_in(work.jorun).get(f"/schedule/{path}?site=999999").status_code == 403


def test_filters_narrow_the_list():
    work = some_due_work(3)
    browser = signed_in(work.jorun)
    give(browser, work, due=[work.due(1)])
    assert "T-0001" not in text_of(browser.get(f"/schedule/?{WEEK}&given_to=nobody"))
    mine = text_of(browser.get(f"/schedule/?{WEEK}&given_to={work.ruan.person}"))
    assert "T-0001" in mine
    assert "T-0002" not in mine
    assert "T-0002" not in text_of(browser.get(f"/schedule/?{WEEK}&words=T-0001"))


def test_a_row_and_its_line_say_what_stood_in_the_way():
    work = some_due_work(2)
    for on in (TODAY, day(6, 3)):
        work.story.search(on, outcome=AttemptOutcome.WITH_A_PATIENT)
    browser = signed_in(work.jorun)
    page = text_of(browser.get(f"/schedule/?{WEEK}"))
    assert page.count("in vain") == 1
    response = browser.get(f"/schedule/rows.csv?{WEEK}")
    lines = list(csv.DictReader(b"".join(response.streaming_content).decode("utf-8-sig").splitlines()))
    assert [line["attempts in vain"] for line in lines] == ["1", "0"]  # that of the third lies ahead
    assert (lines[0]["last attempt on"], lines[0]["last attempt"]) == ("2026-06-01", "with a patient")


def test_the_opening_day_narrows_the_list_and_stays_in_the_address():
    work = some_due_work(1)
    browser = signed_in(work.jorun)
    assert "OM-1" in text_of(browser.get(f"/schedule/?{WEEK}&opens_to=2026-05-16"))
    none = browser.get(f"/schedule/?{WEEK}&opens_to=2026-05-15").content.decode()
    assert "OM-1" not in none
    assert '<input type="hidden" name="opens_to" value="2026-05-15">' in none
    assert browser.get(f"/schedule/?{WEEK}&opens_from=2026-06-01&opens_to=2026-05-01").status_code == 400


def test_grouped_by_site_the_sites_are_the_headings():
    work = some_due_work(2)
    page = signed_in(work.jorun).get(f"/schedule/?{WEEK}&by=site").content.decode()
    assert re.findall(r"<h3>([^<]*) <", page) == ["Alderwick General"]


def test_the_rows_as_csv_are_those_of_the_page_and_harmless():
    work = some_due_work(2)
    set_tag(device=work.devices[1], tag="=SUM(A1)", from_on=TODAY, actor=work.story.manager, at=AT)
    response = signed_in(work.jorun).get(f"/schedule/rows.csv?{WEEK}")
    lines = list(csv.reader(b"".join(response.streaming_content).decode("utf-8-sig").splitlines()))
    assert [line[1] for line in lines[1:]] == ["", "'=SUM(A1)"]
    assert {line[0] for line in lines[1:]} == {str(due) for due in work.dues}


def test_a_persons_week_lists_it_by_day():
    work = some_due_work(2)
    browser = signed_in(work.jorun)
    give(browser, work)
    page = text_of(browser.get(f"/schedule/people/{work.ruan.person}/?week=2026-06-03"))
    assert "Ruan Tesk has 2 inspections in the week of 1 June 2026." in page
    assert "Tuesday 2 June 2026" in page
    assert page.count("Morning") == 2


def test_a_week_of_nobody_at_ones_sites_is_not_there():
    work = some_due_work(1)
    elsewhere = somebody("Quen Audley-Marr", Role.SCHEDULER, work.story.begins_on, work.story.sites[1])
    assert signed_in(elsewhere).get(f"/schedule/people/{work.ruan.person}/").status_code == 404
    assert signed_in(work.jorun).get("/schedule/people/999999999/").status_code == 404


def test_from_saturday_on_the_next_week_is_shown(monkeypatch):
    work = some_due_work(1)
    browser = signed_in(work.jorun)
    for on, sunday in ((day(7, 10), "12 July"), (day(7, 11), "19 July"), (day(7, 12), "19 July")):
        set_clock(monkeypatch, moment(on))
        assert f"Sunday {sunday} 2026" in text_of(browser.get("/schedule/"))


def statements(browser: Client) -> int:
    with CaptureQueriesContext(connection) as captured:
        assert browser.get(f"/schedule/?{WEEK}").status_code == 200
    return len(captured)


@pytest.mark.parametrize("devices", [3, 60])
def test_the_page_takes_a_fixed_number_of_statements(devices):
    work = some_due_work(devices)
    assign_inspections(
        due_inspections=work.dues[:2], person=work.ruan.person, on=day(7, 13), half=Half.AM, actor=work.jorun, at=AT
    )
    keep_standings()
    assert statements(signed_in(work.jorun)) == STATEMENTS
