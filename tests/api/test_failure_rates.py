"""Failure rates by the interface: what a token for some days may ask, and what no group can be told of."""

import datetime as dt

import pytest

from pmcore.engines.vocabulary import Role
from tests.api.asking import by_token
from tests.cast import a_person
from tests.reliability_cast import Fleet, a_fleet

pytestmark = pytest.mark.django_db

PATHS = ["failure-rates/", "standouts/", "comparisons/"]


@pytest.fixture
def fleet() -> Fleet:
    """A failure in March, one in August."""
    fleet = a_fleet()
    for month in (3, 8):
        fleet.find(fleet.add(), dt.date(2026, month, 10))
    return fleet


def auditor(fleet: Fleet, *sites: int):
    return a_person("Ines Kaldervik", Role.AUDITOR, *(sites or fleet.sites.values()))


@pytest.mark.parametrize("path", PATHS)
def test_a_token_for_some_days_asks_of_these_alone(fleet, path):
    asker = by_token(auditor(fleet), read_only=True, from_on=dt.date(2026, 2, 1), to_on=dt.date(2026, 6, 30))
    group = {"group": "controls"} if path == "comparisons/" else {}
    refused = asker.get(path, 403, **group)
    assert refused["type"].endswith("outside-your-period")
    assert asker.get(path, 403, **group, **{"from": "2026-01-31", "to": "2026-06-30"})["type"] == refused["type"]
    told = asker.get(path, **group, **{"from": "2026-02-01", "to": "2026-06-30"})
    assert told["as_of"] == "2026-06-30"


def test_only_what_happened_at_ones_own_sites_is_told(fleet):
    asker = by_token(auditor(fleet, fleet.sites["Stennet"]))
    assert asker.get("failure-rates/", group_by="site")["groups"] == []
    outside = asker.get("failure-rates/", 403, site=fleet.sites["Alderwick"])
    assert outside["type"].endswith("outside-your-sites")


def test_a_rate_without_exposure_is_null(fleet):
    told = by_token(auditor(fleet)).get("failure-rates/", device_model=987654)
    assert {group["rate"] for group in told["groups"]} == {None}
    assert (told["exposure_years"], told["starts_on"], told["events"]) == (0.0, None, 0)


def test_what_is_wrong_is_named(fleet):
    asker = by_token(auditor(fleet))
    wrong = asker.get("comparisons/", 400, group_by="model", group="987654", reference="x")
    assert wrong["errors"] == {"reference": "reference: 'x' is no whole number."}
    assert asker.get("comparisons/", 400, group_by="model", group="987654")["errors"] == {
        "group": "There is no model 987654."
    }
    reversed_days = asker.get("standouts/", 400, **{"from": "2026-05-01", "to": "2026-04-01"})
    assert reversed_days["errors"]["to"].startswith("The period begins on 2026-05-01, after its end")
