"""At which site a thing of the record is, as known now."""

import datetime as dt

from pmcore.models import Area, Device, Placement, Site
from pmcore.models.base import Thing


def site_of_area(area: int) -> int | None:
    """None: there is no such area."""
    return Area.objects.filter(pk=area).values_list("site_id", flat=True).first()


def site_of_device(device: int, on: dt.date) -> int | None:
    """Where it stands on the day; on a day before it stood anywhere, where it stood first. None: nobody ever said."""
    placed = Placement.objects.current().filter(device=device)
    first = placed.on(on).first() or placed.order_by("from_on", "id").first()
    return None if first is None else site_of_area(first.area_id)


def site_of(thing: Thing, on: dt.date) -> int | None:
    """A site, what belongs to a site, a device, and what is about a device. None: it is of no site."""
    device: int | None = thing.pk if isinstance(thing, Device) else getattr(thing, "device_id", None)
    if device is not None:
        return site_of_device(device, on)
    site: int | None = thing.pk if isinstance(thing, Site) else getattr(thing, "site_id", None)
    return site
