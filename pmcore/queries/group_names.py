"""What the groups of a figure are called."""

from typing import Any

from pmcore.engines.vocabulary import Grouping
from pmcore.models import AreaDetails, ClassDetails, SiteDetails
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
