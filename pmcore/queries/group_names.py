"""What the groups of a figure are called."""

from typing import Any

from pmcore.engines.vocabulary import Grouping
from pmcore.models import AreaDetails, ClassDetails, PlanTerms, SiteDetails
from pmcore.models.base import RecordedQuerySet

_NOBODY_SAID = "not recorded"


def group_names(group_by: Grouping, known: int) -> dict[int | str, str]:
    """The newest names of sites, areas and device classes by their ids, 0 among them: one statement at most. Other
    groups are called by their own words."""
    facts: RecordedQuerySet[Any]
    match group_by:
        case Grouping.SITE:
            facts, key = SiteDetails.objects.known(known), "site_id"
        case Grouping.AREA:
            facts, key = AreaDetails.objects.known(known), "area_id"
        case Grouping.DEVICE_CLASS:
            facts, key = ClassDetails.objects.known(known), "device_class_id"
        case _:
            return {}
    return {0: _NOBODY_SAID, **dict(facts.order_by("from_on", "id").values_list(key, "name"))}


def plan_names(known: int) -> dict[int, str]:
    """The newest name of every plan: one statement."""
    return dict(PlanTerms.objects.known(known).order_by("from_on", "id").values_list("plan_id", "name"))


def area_names(known: int) -> dict[int, tuple[str, str]]:
    """Of every area the newest names of its site and of itself: two statements."""
    sites = site_names(known)
    areas = AreaDetails.objects.known(known).order_by("from_on", "id")
    named = areas.values_list("area_id", "area__site_id", "name")
    return {area: (sites.get(site, ""), name) for area, site, name in named}


def site_names(known: int) -> dict[int, str]:
    """The newest name of every site: one statement."""
    return dict(SiteDetails.objects.known(known).order_by("from_on", "id").values_list("site_id", "name"))


def class_names(known: int) -> dict[int, str]:
    """The newest name of every device class: one statement."""
    classes = ClassDetails.objects.known(known).order_by("from_on", "id")
    return dict(classes.values_list("device_class_id", "name"))
