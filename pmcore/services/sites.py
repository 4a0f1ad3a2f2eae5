"""Sites, their holidays and their areas."""

import datetime as dt
import zoneinfo
from collections.abc import Mapping

from pmcore.engines.records import Actor
from pmcore.engines.vocabulary import AreaKind
from pmcore.models import Area, AreaDetails, Site, SiteDetails, SiteHoliday, SiteWeek
from pmcore.models.rows import Row
from pmcore.services.append import append
from pmcore.services.permissions import check_role, check_site
from pmcore.services.refusals import RecordRefused
from pmcore.services.requests import Receipt, Request, answered

MONDAY_TO_FRIDAY = "1111100"


class UnknownZone(RecordRefused):
    """No such time zone in the IANA database."""


class BadWeek(RecordRefused):
    """A working week is seven characters from Monday on, 1 or 0."""


class LabelTaken(RecordRefused):
    """Another site has this label."""


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
    check_role(actor, "open a site")
    if (earlier := answered(actor, request)) is not None:
        return earlier
    if time_zone not in zoneinfo.available_timezones():
        raise UnknownZone(f"There is no time zone {time_zone!r}.")
    if len(working) != 7 or set(working) - {"0", "1"}:
        raise BadWeek(f"{working!r} is no working week: seven characters from Monday on, 1 or 0.")
    if SiteDetails.objects.current().filter(label=label).exists():
        raise LabelTaken(f"There is already a site labelled {label!r}.")
    site = Row(Site)
    details = Row(SiteDetails, site=site, from_on=from_on, label=label, name=name, time_zone=time_zone)
    week = Row(SiteWeek, site=site, from_on=from_on, working=working)
    return append("site_opened", site, [site, details, week], actor=actor, at=at, request=request)


def set_holidays(
    *, site: int, days: Mapping[dt.date, str], actor: Actor, at: dt.datetime, request: Request | None = None
) -> Receipt:
    """Days on which nobody is expected to work, with their names."""
    check_role(actor, "set holidays")
    check_site(actor, site)
    rows = [Row(SiteHoliday, site=site, from_on=day, name=name, working=False) for day, name in sorted(days.items())]
    return append("holidays_set", site, rows, actor=actor, at=at, request=request)


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
    """A new area of a site."""
    check_role(actor, "open an area")
    check_site(actor, site)
    area = Row(Area, site=site)
    details = Row(AreaDetails, area=area, from_on=from_on, name=name, kind=kind, closed=False)
    return append("area_opened", area, [area, details], actor=actor, at=at, request=request)
