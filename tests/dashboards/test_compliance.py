"""The compliance page: its sentences, what it refuses, its rows and what it costs."""

import csv
import io

import pytest
from django.db import connection
from django.test import Client
from django.test.utils import CaptureQueriesContext

from dashboards import compliance_asking
from dashboards.compliance_words import _the_others
from dashboards.remembered import forget
from pmcore.engines.compliance import Tally
from pmcore.engines.records import SYSTEM, Actor
from pmcore.engines.vocabulary import RiskClass, Role
from pmcore.models import Device
from pmcore.queries.head import head
from pmcore.services.keep_standings import keep_standings
from pmcore.services.people import register_person
from pmcore.services.risk import override_risk
from tests.dashboards.signed_in import set_clock, signed_in
from tests.story import Story, a_story, day, moment

pytestmark = pytest.mark.django_db

STATEMENTS = 56  # fewer where nothing was missed: of no devices nothing is asked


@pytest.fixture
def story(monkeypatch) -> Story:
    """July 2026: one device of two was inspected in its window, one at the second site was not."""
    story = a_story()
    other = story.add_device("=2+3", area=story.areas[1])
    story.sweep(day(6, 16, 2025), day(5, 1))
    story.inspect(day(7, 10))
    assert other
    set_clock(monkeypatch, moment(day(8, 31)))
    return story


@pytest.fixture
def manager(story: Story) -> Client:
    return signed_in(story.manager)


def test_it_begins_with_the_last_month_that_is_over(manager):
    page = manager.get("/compliance/").content.decode()
    assert "Windows that closed in July 2026" in page
    assert "Of 2 inspections due, 1 was done inside their window: 50.0 %." in page


@pytest.mark.parametrize(
    ("late", "says"),
    [
        (False, "One is not done, and it is high-risk."),
        (True, "One was done late."),
    ],
)
def test_what_was_done_late_is_not_called_not_done(manager, story, late, says):
    """Headline, list and table tell those that were done late from those that are not done."""
    if late:
        story.inspect(day(7, 20), device=_second(story))
    else:
        override_risk(
            device=_second(story), risk_class=RiskClass.HIGH_RISK, reason="Lifts people.", signed_by=story.person,
            from_on=day(1, 5), **story.by(day(1, 5)),
        )  # fmt: skip
    found = manager.get("/compliance/?period=2026-07").context
    assert found["headline"].endswith(f"50.0 %. {says}")
    assert len(found["grave"]) == (not late)


@pytest.mark.parametrize(
    ("late", "undone", "grave", "says"),
    [
        (0, 0, 0, "None was missed."),
        (4, 12, 9, "Four were done late and 12 are not done, nine of them high-risk."),
        (1, 1, 0, "One was done late and one is not done, and it is not high-risk."),
        (0, 2, 0, "Two are not done, none of them high-risk."),
    ],
)
def test_the_others_are_told_apart(late, undone, grave, says):
    tally = Tally(met=674, met_late=late, no_reason=undone)
    assert _the_others(tally, grave) == says


def test_filters_stand_in_the_address(manager, story):
    page = manager.get("/compliance/", {"period": "2026-07", "site": story.sites[0]}).content.decode()
    assert "Of 1 inspection due, 1 was done inside their window: 100.0 %. None was missed." in page
    assert '<option value="2026-07" selected>' in page


def test_the_table_names_both_sites_and_leads_to_each(manager, story):
    page = manager.get("/compliance/?period=2026-07").content.decode()
    for site, name in zip(story.sites, ("Alderwick General", "Stennet Point"), strict=True):
        assert name in page
        assert f"?period=2026-07&amp;site={site}" in page


@pytest.mark.parametrize(
    ("query", "says"),
    [
        ("period=2026-13", "&#x27;2026-13&#x27; is no month"),
        ("period=0001-01", "0001-01 lies outside the years 1900 to 2200"),
        ("from=0001-01-01&to=2026-01-01", "0001-01-01 lies outside the years 1900 to 2200"),
        ("from=2026-01-01&to=9999-12-31", "9999-12-31 lies outside the years 1900 to 2200"),
        (f"area={'9' * 18}", "is no whole number"),
        (f"known={2**53}", "9007199254740992 is larger than any number of the record"),
        ("colour=blue", "There is no parameter &#x27;colour&#x27;"),
        ("from=2026-07-31&to=2026-07-01", "after its end"),
        ("as_of=2027-01-01", "lies after today"),
        ("known=999999", "The history has"),
        ("risk_class=grave", "is none of"),
    ],
)
def test_what_will_not_do_is_said_and_the_rest_is_kept(manager, query, says):
    answer = manager.get(f"/compliance/?{query}&group_by=area")
    page = answer.content.decode()
    assert answer.status_code == 400
    assert says in page
    assert '<option value="area" selected>' in page


@pytest.mark.parametrize("path", ["", "rows.csv", "report/", "changes/"])
def test_another_site_is_refused_as_the_interface_does(manager, path):
    answer = manager.get(f"/compliance/{path}?site=999999&since=1")
    assert answer.status_code == 403
    assert "You are no member of the site" in answer.content.decode()


def test_the_rows_are_those_that_the_figure_counts(manager):
    answer = manager.get("/compliance/rows.csv?period=2026-07")
    rows = list(csv.DictReader(io.StringIO(b"".join(answer.streaming_content).decode("utf-8-sig"))))
    assert [(row["site"], row["counts as"], row["done on"]) for row in rows] == [
        ("Alderwick General", "met", "2026-07-10"),
        ("Stennet Point", "no reason", ""),
    ]


def test_a_formula_does_nothing_in_a_spreadsheet(manager):
    answer = manager.get("/compliance/rows.csv?period=2026-07")
    assert ",'=2+3," in b"".join(answer.streaming_content).decode()


def test_what_changed_since_a_size_is_named(manager, story):
    before = head().size
    story.inspect(day(7, 12), recorded=day(8, 20), device=_second(story))
    page = manager.get(f"/compliance/changes/?period=2026-07&since={before}").content.decode()
    assert "One due inspection counts otherwise" in page
    assert "inspection recorded" in page


def test_of_an_old_size_only_so_many_entries_are_tried(manager, story, monkeypatch):
    monkeypatch.setattr(compliance_asking, "TRIED_AT_ONCE", 1)
    page = manager.get("/compliance/changes/?period=2026-07&since=0").content.decode()
    assert "Two due inspections count otherwise" in page
    assert "For 2 of them the entries that made the difference are not looked for" in page
    assert page.count("Not looked for.") == 2


def _second(story: Story) -> int:
    return Device.objects.exclude(pk=story.device).get().pk


def test_without_a_size_it_asks_for_one(manager):
    answer = manager.get("/compliance/changes/?period=2026-07")
    assert answer.status_code == 400
    assert "Say the record size" in answer.content.decode()


def test_the_report_says_what_it_was_counted_from(manager):
    page = manager.get("/compliance/report/?period=2026-07").content.decode()
    assert f"Counted from the first {head().size:,} entries of the record, as of 31 August 2026" in page


def test_a_period_without_anything_due_says_so(manager):
    page = manager.get("/compliance/?period=2024-01").content.decode()
    assert "No inspection was due whose window closed in January 2024." in page


def statements(client: Client, query: str) -> int:
    forget()
    with CaptureQueriesContext(connection) as captured:
        assert client.get(f"/compliance/?{query}").status_code == 200
    return len(captured)


@pytest.mark.parametrize("devices", [0, 12])
def test_it_takes_a_fixed_number_of_statements(manager, story, devices):
    for number in range(devices):
        story.add_device(f"N-{number}")
    story.sweep(day(6, 16, 2025), day(5, 1))
    keep_standings()
    for query in ("period=2026-07", "period=2026-07&risk_class=other&group_by=area"):
        assert statements(manager, query) == STATEMENTS
    assert statements(manager, f"period=2026-06&site={story.sites[0]}") < STATEMENTS


def test_what_was_asked_a_moment_ago_is_not_computed_again(manager):
    first = manager.get("/compliance/?period=2026-07")
    with CaptureQueriesContext(connection) as captured:
        again = manager.get("/compliance/?period=2026-07")
    assert again.context["headline"] == first.context["headline"]
    assert len(captured) < 20


def test_a_provider_sees_no_figures(story):
    person = register_person(
        name="Tove Marn", role=Role.PROVIDER, sites=story.sites, from_on=day(1, 1), actor=SYSTEM, at=moment(day(8, 1))
    ).subject
    answer = signed_in(Actor(person, Role.PROVIDER, frozenset(story.sites))).get("/compliance/")
    assert (answer.status_code, b"This page is not for the role provider." in answer.content) == (403, True)


def test_nobody_sees_it_without_signing_in(story):
    answer = Client().get("/compliance/?period=2026-07")
    assert (answer.status_code, answer["Location"]) == (302, "/accounts/login/?next=/compliance/%3Fperiod%3D2026-07")
