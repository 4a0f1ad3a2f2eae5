"""The reliability page: its sentences, what it refuses, its files and what it costs; and that the interface says the
same."""

import csv
import datetime as dt
import io
import itertools

import pytest
from django.db import connection
from django.test import Client
from django.test.utils import CaptureQueriesContext

from dashboards.remembered import forget
from pmcore.engines.vocabulary import Discovery, FailureEvidence, RateGrouping, Role, Subsystem
from pmcore.queries.head import head
from tests.cast import AT, a_person
from tests.dashboards.signed_in import set_clock, signed_in
from tests.reliability_cast import Fleet, a_fleet

pytestmark = pytest.mark.django_db

STATEMENTS = 27


@pytest.fixture
def fleet(monkeypatch) -> Fleet:
    """Five devices of each revision: A failed three times by the end of October, B twenty-four times."""
    fleet = a_fleet()
    for revision, times in (("A", 3), ("B", 24)):
        devices = [fleet.add(revision=revision) for _ in range(5)]
        for number in range(times):
            fleet.find(devices[number % 5], dt.date(2026, 1, 5) + dt.timedelta(days=number))
    set_clock(monkeypatch, AT)
    return fleet


@pytest.fixture
def manager(fleet: Fleet) -> Client:
    return signed_in(fleet.manager)


def text(client: Client, query: str = "") -> str:
    return " ".join(client.get(f"/reliability/{query}").content.decode().split())


def test_it_begins_with_what_stands_out_most(manager):
    page = text(manager)
    assert "<h1>Controls on Marl revision B fail 8.0 times as often as on revision A.</h1>" in page
    assert "24 failures in 4.2 device-years against 3 in 4.2; between 2.4 and 41.5 times." in page
    assert "1 January 2026 to 31 October 2026" in page


def test_it_stands_in_the_navigation_after_compliance(manager):
    page = text(manager)
    assert page.index(">Compliance</a>") < page.index(">Reliability</a>") < page.index(">Schedule</a>")


def test_names_of_tests_stand_under_how_this_was_computed_alone(manager):
    before, _, how = text(manager).partition('id="how"')
    for name in ("Poisson", "binomial", "Benjamini", "Garwood"):
        assert name not in before
        assert name in how


def test_nothing_stands_out_is_said(manager, fleet):
    page = text(manager, f"?revision={fleet.revisions['A']}")
    assert "There is too little to say of any group that it fails more often than the others." in page
    assert "3 failures in 4.2 device-years." in page


def test_nothing_failed_is_said_and_what_would_stand_there(manager):
    page = text(manager, "?subsystem=drive")
    assert "<h1>Nothing failed in 9.2 device-years.</h1>" in page
    assert "Failures come from findings" in page


def test_nothing_to_watch_is_no_data(manager):
    page = text(manager, "?device_model=987654")
    assert "No device that was asked for was in service in this time." in page
    assert "There is no data: nothing was in service." in page


def test_two_groups_are_compared_in_a_sentence(manager, fleet):
    b, a = fleet.revisions["B"], fleet.revisions["A"]
    page = text(manager, f"?group_by=revision&group={b}&reference={a}")
    assert "Orvane Marl revision B fails 8.0 times as often as Orvane Marl revision A: if both failed alike" in page
    none = text(manager, "?group=drive&reference=alarms")
    assert "There is no data to compare drive with alarms." in none


@pytest.mark.parametrize(
    ("query", "says"),
    [
        ("from=2026-07-31&to=2026-07-01", "after its end"),
        ("as_of=2027-01-01", "lies after today"),
        ("known=999999", "The history has"),
        ("known=all", "no whole number"),
        ("site=999999", "You are no member of the site"),
        ("kind=cosmetic", "is none of functional, potential"),
        ("group_by=revision&group=987654", "There is no revision 987654."),
        ("reference=drive", "Say which group is compared"),
        ("colour=blue", "There is no parameter"),
    ],
)
def test_what_will_not_do_is_said_and_the_rest_is_kept(manager, fleet, query, says):
    answer = manager.get(f"/reliability/?{query}&device_class={fleet.device_class}")
    page = answer.content.decode()
    assert answer.status_code == 400
    assert says in page
    assert f'<option value="{fleet.device_class}" selected>Surgical table</option>' in page


def rows(client: Client, name: str) -> list[dict[str, str]]:
    answer = client.get(f"/reliability/{name}.csv")
    return list(csv.DictReader(io.StringIO(b"".join(answer.streaming_content).decode("utf-8-sig"))))


def test_the_inputs_are_those_that_the_rates_are_computed_from(manager):
    report = manager.get("/reliability/").context["report"]
    failures, exposure = rows(manager, "failures"), rows(manager, "exposure")
    assert len(failures) == report.events
    assert sum(int(row["days in service"]) for row in exposure) == round(report.exposure_years * 365.25)
    assert (failures[0]["discovered on"], failures[0]["subsystem"]) == ("2026-01-05", "controls")
    assert {row["revision"] for row in exposure} == {"A", "B", ""}


def statements(client: Client, query: str) -> int:
    forget()
    with CaptureQueriesContext(connection) as captured:
        assert client.get(f"/reliability/{query}").status_code == 200
    return len(captured)


@pytest.mark.parametrize("devices", [0, 15])
def test_it_takes_a_fixed_number_of_statements(manager, fleet, devices):
    for _ in range(devices):
        fleet.find(fleet.add(area="Ward 6"), dt.date(2026, 3, 1))
    for query in ("?", "?group_by=area&kind=functional,potential", "?group=drive", f"?site={fleet.sites['Stennet']}"):
        assert statements(manager, query) == STATEMENTS


def test_a_page_that_would_come_out_the_same_is_sent_again(manager, fleet):
    manager.get("/accounts/login/")  # which sets the cookie that forms need
    manager.get("/reliability/")
    first = manager.get("/reliability/")
    with CaptureQueriesContext(connection) as captured:
        again = manager.get("/reliability/")
    assert again.content == first.content
    assert len(captured) == 1
    fleet.find(fleet.add(), dt.date(2026, 3, 1))
    assert manager.get("/reliability/").content != first.content


def test_a_provider_sees_no_rates(fleet):
    provider = a_person("Tove Marn", Role.PROVIDER, *fleet.sites.values())
    client = signed_in(provider)
    for address in ("/reliability/", "/reliability/failures.csv", "/reliability/exposure.csv"):
        assert client.get(address).status_code == 403


def test_page_and_interface_say_the_same(manager, fleet):
    fleet.move(fleet.add("Chert", revision=None), "Ward 6", dt.date(2026, 4, 1))
    groupings, discoveries = itertools.cycle(RateGrouping), itertools.cycle([None, *Discovery])
    choices = itertools.product(
        [None, *fleet.sites.values()], [None, *fleet.models.values()], [None, Subsystem.CONTROLS],
        [None, "2026-02-01"], ["2026-06-30", "2026-10-31"],
    )  # fmt: skip
    for site, model, subsystem, begins, as_of in choices:
        named = {"site": site, "device_model": model, "subsystem": subsystem, "from": begins, "as_of": as_of,
                 "discovery": next(discoveries), "evidence": FailureEvidence.ALL}  # fmt: skip
        query = {name: str(value) for name, value in named.items() if value is not None}
        query["group_by"] = str(next(groupings))
        page = manager.get("/reliability/", query).context
        told = manager.get("/api/v1/failure-rates/", query).json()
        assert (told["events"], told["exposure_years"]) == (page["report"].events, page["report"].exposure_years)
        for name in ("key", "events", "exposure_years", "rate", "lower", "upper", "shrunk"):
            assert [group[name] for group in told["groups"]] == [
                getattr(group, name) for group in page["report"].groups
            ], (name, query)
        query.pop("group_by")
        stands = manager.get("/api/v1/standouts/", query).json()
        assert stands["compared"] == page["screened"].compared
        assert [each["key"] for each in stands["standouts"]] == [each.key for each in page["screened"].standouts]


def test_a_comparison_is_the_same_by_the_interface(manager, fleet):
    query = {"group_by": "revision", "group": fleet.revisions["B"], "reference": fleet.revisions["A"]}
    (found,) = manager.get("/api/v1/comparisons/", query).json()["comparisons"]
    assert (found["group"]["events"], found["reference"]["events"]) == (24, 3)
    assert found["crude"]["ratio"] == pytest.approx(8)
    assert found["crude"]["p_value"] < 0.001
    nothing = manager.get("/api/v1/comparisons/", {"group": "drive", "reference": "alarms"}).json()["comparisons"][0]
    assert set(nothing["crude"].values()) == {None}
    assert manager.get("/api/v1/comparisons/").json()["errors"] == {"group": "group has to be said."}
    assert manager.get("/api/v1/failure-rates/", {"known": head().size + 1}).status_code == 400
