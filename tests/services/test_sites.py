"""Sites, areas and holidays."""

import datetime as dt
from typing import Any

import pytest

from pmcore.engines.records import SYSTEM
from pmcore.engines.vocabulary import AreaKind
from pmcore.models import AreaDetails, SiteDetails, SiteHoliday, SiteWeek
from pmcore.queries.columns import BadValue
from pmcore.queries.verification import verify
from pmcore.services.refusals import Conflict, UnknownReference
from pmcore.services.sites import (
    BadWeek,
    BeforeOpening,
    LabelTaken,
    NoHolidays,
    UnknownZone,
    describe_area,
    describe_site,
    open_area,
    open_site,
    set_holidays,
)
from tests.cast import AT, JANUARY, a_site, an_area, check_refused
from tests.history import MARCH

pytestmark = pytest.mark.django_db

BY_THE_OFFICE: dict[str, Any] = {"actor": SYSTEM, "at": AT}
CHRISTMAS = dt.date(2026, 12, 25)


@pytest.mark.parametrize(
    ("changed", "error"),
    [
        ({"time_zone": "Europe/Alderwick"}, UnknownZone),
        ({"time_zone": "../Europe/London"}, UnknownZone),
        ({"time_zone": "localtime"}, UnknownZone),
        ({"time_zone": ""}, UnknownZone),
        ({"working": "12"}, BadWeek),
        ({"working": "0000000"}, BadWeek),
        ({"working": "11111xx"}, BadWeek),
        ({"label": "AG"}, LabelTaken),
        ({"label": "x" * 21}, BadValue),
        ({"label": "A\x00"}, BadValue),
        ({"name": ""}, BadValue),
        ({"from_on": "2026-01-01"}, BadValue),
    ],
)
def test_a_site_that_makes_no_sense_is_refused(changed: dict[str, Any], error: type[Exception]) -> None:
    a_site("AG", "Alderwick General")
    asked = {"label": "FL", "name": "Fallow Lane", "time_zone": "Europe/London", "from_on": JANUARY, **changed}
    with check_refused(error):
        open_site(**asked, **BY_THE_OFFICE)


def test_a_site_has_its_zone_and_its_week() -> None:
    site = open_site(
        label="FL", name="Fallow Lane", time_zone="Pacific/Auckland", working="0111110", from_on=JANUARY,
        **BY_THE_OFFICE,
    ).subject  # fmt: skip
    assert SiteDetails.objects.current().on(JANUARY).get(site=site).time_zone == "Pacific/Auckland"
    assert SiteWeek.objects.current().on(JANUARY).get(site=site).working == "0111110"
    assert verify().sound


def test_an_area_belongs_to_its_site() -> None:
    site = a_site("AG", "Alderwick General")
    area = open_area(site=site, name="Theatre 1", kind=AreaKind.THEATRE, from_on=JANUARY, **BY_THE_OFFICE).subject
    details = AreaDetails.objects.current().get(area=area)
    assert (details.area.site_id, details.name, details.kind, details.closed) == (site, "Theatre 1", "theatre", False)


def test_a_site_that_does_not_exist_gets_no_area_and_no_holidays() -> None:
    with check_refused(UnknownReference):
        open_area(site=404, name="Theatre 1", kind=AreaKind.THEATRE, from_on=JANUARY, **BY_THE_OFFICE)
    with check_refused(UnknownReference):
        set_holidays(site=404, days={CHRISTMAS: "Christmas Day"}, **BY_THE_OFFICE)


def test_holidays_are_facts_of_their_days() -> None:
    site = a_site("AG", "Alderwick General")
    days = {CHRISTMAS: "Christmas Day", dt.date(2026, 12, 28): "Boxing Day, in lieu"}
    set_holidays(site=site, days=days, **BY_THE_OFFICE)
    assert dict(SiteHoliday.objects.current().values_list("from_on", "name")) == days


def test_no_holidays_and_the_same_day_twice_are_refused() -> None:
    site = a_site("AG", "Alderwick General")
    set_holidays(site=site, days={CHRISTMAS: "Christmas Day"}, **BY_THE_OFFICE)
    with check_refused(Conflict):
        set_holidays(site=site, days={dt.date(2026, 12, 24): "Eve", CHRISTMAS: "Christmas"}, **BY_THE_OFFICE)
    with check_refused(NoHolidays):
        set_holidays(site=site, days={}, **BY_THE_OFFICE)


BEFORE_MARCH = MARCH - dt.timedelta(days=1)
BEFORE_JANUARY = JANUARY - dt.timedelta(days=1)


def described(site: int, **changed: Any) -> None:
    asked = {"label": "AG", "name": "Alderwick General", "time_zone": "Europe/London", "from_on": MARCH, **changed}
    describe_site(site=site, **asked, **BY_THE_OFFICE)


def test_a_site_is_called_otherwise_from_a_day_on_and_keeps_its_week() -> None:
    site = a_site("AG", "Alderwick General")
    described(site, label="AU", name="Alderwick University", time_zone="Europe/Dublin")
    details = SiteDetails.objects.current().filter(site=site)
    before, after = details.on(BEFORE_MARCH).get(), details.on(MARCH).get()
    assert (before.label, before.name, before.time_zone) == ("AG", "Alderwick General", "Europe/London")
    assert (after.label, after.name, after.time_zone) == ("AU", "Alderwick University", "Europe/Dublin")
    assert SiteWeek.objects.current().on(MARCH).get(site=site).working == "1111100"
    assert verify().sound


def test_a_site_gets_another_working_week_from_a_day_on() -> None:
    site = a_site("AG", "Alderwick General")
    described(site, working="1111110")
    week = SiteWeek.objects.current().filter(site=site)
    assert (week.on(BEFORE_MARCH).get().working, week.on(MARCH).get().working) == ("1111100", "1111110")


@pytest.mark.parametrize(
    ("changed", "error"),
    [
        ({"label": "SP"}, LabelTaken),
        ({"label": ""}, BadValue),
        ({"time_zone": "Europe/Alderwick"}, UnknownZone),
        ({"working": "111111x"}, BadWeek),
        ({"working": ""}, BadWeek),
        ({"from_on": "soon"}, BadValue),
        ({"from_on": BEFORE_JANUARY}, BeforeOpening),
        ({"from_on": JANUARY}, Conflict),
        ({"site": 404}, UnknownReference),
        ({"site": "AG"}, BadValue),
    ],
)
def test_a_description_that_makes_no_sense_is_refused(changed: dict[str, Any], error: type[Exception]) -> None:
    site = a_site("AG", "Alderwick General")
    a_site("SP", "Stennet Point")
    with check_refused(error):
        described(**{"site": site, **changed})


def test_a_label_that_a_site_once_had_is_given_to_no_other() -> None:
    alderwick, stennet = a_site("AG", "Alderwick General"), a_site("SP", "Stennet Point")
    described(alderwick, label="AU")
    with check_refused(LabelTaken):
        described(stennet)
    described(alderwick, from_on=dt.date(2026, 4, 1))
    assert SiteDetails.objects.current().on(AT.date()).get(label="AG").site_id == alderwick


def test_an_area_becomes_a_store_and_is_closed_from_a_day_on() -> None:
    area = an_area(SYSTEM, a_site("AG", "Alderwick General"), "Theatre 1")
    describe_area(area=area, name="Old theatre", kind=AreaKind.STORE, closed=True, from_on=MARCH, **BY_THE_OFFICE)
    details = AreaDetails.objects.current().filter(area=area)
    before, after = details.on(BEFORE_MARCH).get(), details.on(MARCH).get()
    assert (before.name, before.kind, before.closed) == ("Theatre 1", "theatre", False)
    assert (after.name, after.kind, after.closed) == ("Old theatre", "store", True)


@pytest.mark.parametrize(
    ("changed", "error"),
    [
        ({"name": ""}, BadValue),
        ({"kind": "attic"}, BadValue),
        ({"closed": "yes"}, BadValue),
        ({"from_on": BEFORE_JANUARY}, BeforeOpening),
        ({"from_on": JANUARY}, Conflict),
        ({"area": 404}, UnknownReference),
    ],
)
def test_an_area_that_makes_no_sense_is_refused(changed: dict[str, Any], error: type[Exception]) -> None:
    area = an_area(SYSTEM, a_site("AG", "Alderwick General"), "Theatre 1")
    asked = {"area": area, "name": "Old theatre", "kind": AreaKind.STORE, "from_on": MARCH, **changed}
    with check_refused(error):
        describe_area(**asked, **BY_THE_OFFICE)
