"""Sites, their holidays and their areas."""

import datetime as dt
import zoneinfo
from collections.abc import Mapping

from pmcore.engines.records import Actor
from pmcore.engines.vocabulary import AreaKind
from pmcore.models import Area, AreaDetails, Site, SiteDetails, SiteHoliday, SiteWeek
from pmcore.models.base import Fact, Thing
from pmcore.models.rows import Row
from pmcore.services.append import append
from pmcore.services.permissions import use_case
from pmcore.services.refusals import RecordRefused, UnknownReference
from pmcore.services.requests import Receipt, Request
from pmcore.services.values import check_values, same_but_for_case

MONDAY_TO_FRIDAY = "1111100"

# Some machines list these beside the zones; they mean another place on each, or none.
_NO_PLACE = {"localtime", "Factory", "posixrules"}


class UnknownZone(RecordRefused):
    """No such time zone in the IANA database."""


class BadWeek(RecordRefused):
    """A working week is seven characters from Monday on, 1 or 0; one at least is a working day."""


class LabelTaken(RecordRefused):
    """Another site has this label."""


class BeforeOpening(RecordRefused):
    """On that day the site or area was not open yet."""


class NoHolidays(RecordRefused):
    """No day was given."""


@use_case("open a site", "site_opened")
def open_site(
    *,
    label: str,
    name: str,
    time_zone: str,
    from_on: dt.date,
    actor: Actor,
    at: dt.datetime,
    working: str = MONDAY_TO_FRIDAY,
    request: Request | None = None,
) -> Receipt:
    """A new site. Raises UnknownZone, BadWeek, LabelTaken, NotAllowed."""
    _check_zone(time_zone)
    _check_week(working)
    site = Row(Site)
    details = Row(SiteDetails, site=site, from_on=from_on, label=label, name=name, time_zone=time_zone)
    week = Row(SiteWeek, site=site, from_on=from_on, working=working)
    check_values(details)
    _check_label_free(label)
    return append("site_opened", site, [site, details, week], actor=actor, at=at, request=request)


@use_case("describe a site", "site_described")
def describe_site(
    *,
    site: int,
    label: str,
    name: str,
    time_zone: str,
    from_on: dt.date,
    actor: Actor,
    at: dt.datetime,
    working: str | None = None,
    request: Request | None = None,
) -> Receipt:
    """What a site is called, and its zone, from a day on; the working week stays unless one is given.

    Raises BeforeOpening, UnknownZone, BadWeek, LabelTaken, UnknownReference, NotAllowed; Conflict for a second change
    on the same day.
    """
    _check_zone(time_zone)
    rows = [Row(SiteDetails, site=site, from_on=from_on, label=label, name=name, time_zone=time_zone)]
    if working is not None:
        _check_week(working)
        rows.append(Row(SiteWeek, site=site, from_on=from_on, working=working))
    check_values(*rows)
    _check_open(Site, SiteDetails, site, from_on)
    _check_label_free(label, site)
    return append("site_described", site, rows, actor=actor, at=at, request=request)


@use_case("set holidays", "holidays_set")
def set_holidays(
    *, site: int, days: Mapping[dt.date, str], actor: Actor, at: dt.datetime, request: Request | None = None
) -> Receipt:
    """Days on which nobody is expected to work, with their names. Raises NoHolidays; Conflict for a day set before."""
    if not days:
        raise NoHolidays("Name at least one day.")
    rows = [Row(SiteHoliday, site=site, from_on=day, name=name, working=False) for day, name in sorted(days.items())]
    return append("holidays_set", site, rows, actor=actor, at=at, request=request)


@use_case("open an area", "area_opened")
def open_area(
    *,
    site: int,
    name: str,
    kind: AreaKind,
    from_on: dt.date,
    actor: Actor,
    at: dt.datetime,
    request: Request | None = None,
) -> Receipt:
    """A new area of a site. Raises UnknownReference, NotAllowed."""
    area = Row(Area, site=site)
    details = Row(AreaDetails, area=area, from_on=from_on, name=name, kind=kind, closed=False)
    return append("area_opened", area, [area, details], actor=actor, at=at, request=request)


@use_case("describe an area", "area_described")
def describe_area(
    *,
    area: int,
    name: str,
    kind: AreaKind,
    from_on: dt.date,
    actor: Actor,
    at: dt.datetime,
    closed: bool = False,
    request: Request | None = None,
) -> Receipt:
    """What an area is from a day on, and whether it is closed. It stays where it is.

    Raises BeforeOpening, UnknownReference, NotAllowed; Conflict for a second change on the same day.
    """
    details = Row(AreaDetails, area=area, from_on=from_on, name=name, kind=kind, closed=closed)
    check_values(details)
    _check_open(Area, AreaDetails, area, from_on)
    return append("area_described", area, [details], actor=actor, at=at, request=request)


def _check_zone(time_zone: str) -> None:
    if time_zone not in zoneinfo.available_timezones() - _NO_PLACE:
        raise UnknownZone(f"There is no time zone {time_zone!r}.")


def _check_week(working: str) -> None:
    if len(working) != 7 or set(working) - {"0", "1"} or "1" not in working:
        raise BadWeek(f"{working!r} is no working week: seven characters from Monday on, 1 or 0, and not all 0.")


def _check_label_free(label: str, site: int | None = None) -> None:
    """No other site ever had it: a label names one site, whatever the day."""
    if same_but_for_case(SiteDetails.objects.current(), "label", label).exclude(site=site).exists():
        raise LabelTaken(f"There is already a site labelled {label!r}.")


def _check_open(thing: type[Thing], details: type[Fact], which: int, on: dt.date) -> None:
    name = thing.record_name()
    if not thing.objects.filter(pk=which).exists():
        raise UnknownReference(name, [which])
    if not details.objects.current().on(on).filter(**{details.about[0]: which}).exists():
        raise BeforeOpening(f"The {name} {which} was not open yet on {on}.")
