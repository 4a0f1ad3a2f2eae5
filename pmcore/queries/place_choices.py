"""The sites, areas and device classes that a list can be narrowed to."""

import datetime as dt
from dataclasses import dataclass

from pmcore.engines.records import Actor
from pmcore.models import AreaDetails, ClassDetails
from pmcore.queries.asked import sites_allowed

Choice = tuple[int, str]


@dataclass(frozen=True, slots=True)
class PlaceChoices:
    """Ids and newest names, by name; `areas` of each site, closed ones left out."""

    areas: dict[int, tuple[Choice, ...]]
    device_classes: tuple[Choice, ...]


def place_choices(*, as_of: dt.date, known: int, actor: Actor) -> PlaceChoices:
    """Two statements."""
    sites = sites_allowed(actor, None)
    found: dict[int, list[Choice]] = {}
    rows = AreaDetails.objects.known(known).on(as_of).filter(closed=False).order_by("name")
    for area, site, name in rows.values_list("area_id", "area__site_id", "name"):
        if sites is None or site in sites:
            found.setdefault(site, []).append((area, name))
    classes = dict(ClassDetails.objects.known(known).order_by("from_on", "id").values_list("device_class_id", "name"))
    by_name = sorted(classes.items(), key=lambda each: (each[1], each[0]))
    return PlaceChoices({site: tuple(areas) for site, areas in found.items()}, tuple(by_name))
