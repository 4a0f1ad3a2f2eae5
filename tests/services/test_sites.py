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
from pmcore.services.sites import BadWeek, LabelTaken, NoHolidays, UnknownZone, open_area, open_site, set_holidays
from tests.cast import AT, JANUARY, a_site, check_refused

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
