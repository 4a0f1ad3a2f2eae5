"""Pages go on where the last one ended, whatever is written in between; a cursor belongs to its question."""

import datetime as dt
from urllib.parse import parse_qs, urlsplit

import pytest

from pmcore.engines.vocabulary import Departure, Role
from pmcore.queries.head import head
from pmcore.services.departures import leave_inventory
from pmcore.services.devices import move_device
from tests.api.asking import NOW, by_token
from tests.cast import AT, a_device, a_hospital, a_person

pytestmark = pytest.mark.django_db


@pytest.fixture
def hospital():
    return a_hospital()


@pytest.fixture
def ruan(hospital):
    """He works at Alderwick only."""
    return by_token(hospital.ruan)


def devices(hospital, count, start=0, area=None):
    return [
        a_device(hospital.wim, hospital.model, f"N-{number}", area or hospital.theatre)
        for number in range(start, start + count)
    ]


def cursor_of(page):
    return parse_qs(urlsplit(page["next"]).query)["cursor"][0]


def test_pages_follow_one_another_to_the_end(hospital, ruan):
    everything = [hospital.device, *devices(hospital, 6)]
    pages = list(ruan.follow("devices/", limit=3))
    assert [len(page["results"]) for page in pages] == [3, 3, 1]
    assert [each["device"] for page in pages for each in page["results"]] == everything
    assert {(page["as_of"], page["known"]) for page in pages} == {("2026-10-31", head().size)}


def test_what_is_written_between_pages_neither_shifts_nor_doubles_anything(hospital, ruan):
    everything = [hospital.device, *devices(hospital, 9)]
    away = devices(hospital, 1, start=9, area=hospital.ward)[0]
    at, found = AT, []
    for number, page in enumerate(ruan.follow("devices/", limit=2)):
        found += [each["device"] for each in page["results"]]
        at += dt.timedelta(minutes=1)
        devices(hospital, 1, start=10 + number)
        gone, moved = everything[number], everything[-1 - number]
        if gone not in found[-1:]:
            leave_inventory(device=gone, departure=Departure.SCRAPPED, from_on=AT.date(), actor=hospital.odile, at=at)
        if number == 1:
            move_device(device=away, area=hospital.theatre, from_on=AT.date(), actor=hospital.odile, at=at)
            move_device(device=moved, area=hospital.ward, from_on=AT.date(), actor=hospital.odile, at=at)
    assert found == everything
    assert [each["device"] for each in ruan.get("devices/")["results"]] != everything


def test_pages_go_on_as_of_their_day_when_midnight_has_passed(hospital, ruan, monkeypatch):
    everything = [hospital.device, *devices(hospital, 3)]
    first = ruan.get("devices/", limit=2)
    monkeypatch.setattr("pmcore.clock.now", lambda: NOW + dt.timedelta(days=1))
    second = ruan.get("devices/", limit=2, cursor=cursor_of(first))
    assert (second["as_of"], second["known"]) == (first["as_of"], first["known"])
    assert [each["device"] for page in (first, second) for each in page["results"]] == everything


@pytest.mark.parametrize("path", ["sites/", "areas/", "device-classes/", "device-models/", "procedures/"])
def test_every_list_goes_on_page_by_page(hospital, path):
    odile = by_token(hospital.odile)
    whole = odile.get(path)["results"]
    assert [each for page in odile.follow(path, limit=1) for each in page["results"]] == whole


def test_filters_and_limit_stand_in_the_address_of_the_next_page(hospital, ruan):
    devices(hospital, 5)
    page = ruan.get("devices/", limit=2, words="n-", site=[hospital.alderwick], as_of="2026-10-30")
    query = parse_qs(urlsplit(page["next"]).query)
    assert {name: values for name, values in query.items() if name != "cursor"} == {
        "limit": ["2"], "words": ["n-"], "site": [str(hospital.alderwick)], "as_of": ["2026-10-30"],
    }  # fmt: skip


def test_another_limit_may_be_given_on_the_way(hospital, ruan):
    everything = [hospital.device, *devices(hospital, 4)]
    first = ruan.get("devices/", limit=1)
    rest = ruan.get("devices/", limit=100, cursor=cursor_of(first))
    assert [each["device"] for each in rest["results"]] == everything[1:]
    assert rest["next"] is None


def test_a_cursor_belongs_to_its_question(hospital, ruan):
    devices(hospital, 3)
    cursor = cursor_of(ruan.get("devices/", limit=2, words="n-"))
    for changed in ({}, {"words": "m-"}, {"words": "n-", "as_of": "2026-10-30"}, {"words": "n-", "state": "stored"}):
        errors = ruan.get("devices/", status=400, limit=2, cursor=cursor, **changed)["errors"]
        assert errors.keys() == {"cursor"}
    assert ruan.get("areas/", status=400, cursor=cursor)["errors"].keys() == {"cursor"}


@pytest.mark.parametrize("cursor", ["", "x", "WzEsMl0:1abc:def", "a" * 5000])
def test_a_cursor_that_was_not_given_out_here(ruan, cursor):
    assert ruan.get("devices/", status=400, cursor=cursor)["errors"].keys() == {"cursor"}


def test_a_cursor_with_one_letter_changed(hospital, ruan):
    devices(hospital, 3)
    cursor = cursor_of(ruan.get("devices/", limit=2))
    for at in range(0, len(cursor), 7):
        changed = cursor[:at] + ("A" if cursor[at] != "A" else "B") + cursor[at + 1 :]
        assert ruan.get("devices/", status=400, limit=2, cursor=changed)["errors"].keys() == {"cursor"}


def test_a_cursor_opens_no_site_to_somebody_else(hospital):
    away = devices(hospital, 4, area=hospital.ward)
    odile = by_token(hospital.odile)
    first = odile.get("devices/", limit=1)
    other = by_token(a_person("Neve Sandholm", Role.TECHNICIAN, hospital.alderwick))
    page = other.get("devices/", limit=100, cursor=cursor_of(first))
    assert not {each["device"] for each in page["results"]} & set(away)
