"""Sites and areas, as lists."""

import datetime as dt
from dataclasses import dataclass
from typing import Any

from pmcore.engines.records import Actor
from pmcore.engines.vocabulary import AreaKind
from pmcore.models import AreaDetails, SiteDetails
from pmcore.queries.asked import sites_allowed
from pmcore.queries.pages import Page


@dataclass(frozen=True, slots=True)
class SiteRecord:
    site: int
    label: str
    name: str
    time_zone: str


@dataclass(frozen=True, slots=True)
class AreaRecord:
    area: int
    site: int
    name: str
    kind: AreaKind
    closed: bool


@dataclass(frozen=True, slots=True)
class AreasFilter:
    """None: at all of the actor's sites."""

    sites: frozenset[int] | None = None


def sites_page(*, as_of: dt.date, known: int, actor: Actor, after: int | None = None, limit: int) -> Page[SiteRecord]:
    """The actor's sites as they are described on the day: one statement."""
    rows: Any = SiteDetails.objects.known(known).on(as_of).filter(site__gt=after or 0).order_by("site")
    if actor.sites is not None:
        rows = rows.filter(site__among=actor.sites)
    found = [SiteRecord(*row) for row in rows.values_list("site_id", "label", "name", "time_zone")[: limit + 1]]
    return Page.of(found, limit, lambda each: each.site)


def areas_page(
    asked: AreasFilter, *, as_of: dt.date, known: int, actor: Actor, after: int | None = None, limit: int
) -> Page[AreaRecord]:
    """The areas at the actor's sites as they are described on the day: one statement. Raises OutsideYourSites."""
    sites = sites_allowed(actor, asked.sites)
    rows: Any = AreaDetails.objects.known(known).on(as_of).filter(area__gt=after or 0).order_by("area")
    if sites is not None:
        rows = rows.filter(area__site__among=sites)
    columns = ("area_id", "area__site_id", "name", "kind", "closed")
    found = [
        AreaRecord(area, site, name, AreaKind(kind), closed)
        for area, site, name, kind, closed in rows.values_list(*columns)[: limit + 1]
    ]
    return Page.of(found, limit, lambda each: each.area)
