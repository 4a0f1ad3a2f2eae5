"""The inventory as a list shows it: pages by key, and one device."""

import datetime as dt
from collections.abc import Iterable
from dataclasses import dataclass
from typing import Any

from django.db.models import OuterRef, Q, QuerySet, Subquery

from pmcore.engines.records import Actor
from pmcore.engines.vocabulary import OwnershipKind, RiskClass, ServiceStateKind
from pmcore.models import DeviceIdentity, DeviceRevision, Ownership, Placement, ServiceState, TagHeld
from pmcore.queries.asked import sites_allowed
from pmcore.queries.catalogue_names import CatalogueNames, Named, SiteNamed
from pmcore.queries.risk import risk_facts


@dataclass(frozen=True, slots=True)
class DevicesFilter:
    """`words`: each stands somewhere in tag, serial number, maker or model, whatever its case. None: all of them.
    `left`: also those that have left the inventory."""

    words: str = ""
    sites: frozenset[int] | None = None
    areas: frozenset[int] | None = None
    device_classes: frozenset[int] | None = None
    device_models: frozenset[int] | None = None
    service_states: frozenset[ServiceStateKind] | None = None
    left: bool = False


@dataclass(frozen=True, slots=True)
class DeviceListed:
    """A device on a day. None: nobody said. Names of models, classes, sites and areas are the newest known."""

    device: int
    tag: str | None
    serial: str
    maker: str
    model: str
    device_model: int
    revision: str | None
    device_class: Named | None
    site: SiteNamed
    area: Named
    ownership: OwnershipKind | None
    service_state: ServiceStateKind | None
    risk_class: RiskClass


@dataclass(frozen=True, slots=True)
class DevicesPage:
    """`after`: the key from which the next page goes on; None: this is the last one."""

    devices: tuple[DeviceListed, ...]
    after: int | None


def devices_page(
    asked: DevicesFilter, *, as_of: dt.date, known: int, actor: Actor, after: int | None = None, limit: int
) -> DevicesPage:
    """At most `limit` devices that stand at the actor's sites on the day, in order of ids, from `after` (left out) on.

    The same number of statements whatever is asked. Raises OutsideYourSites.
    """
    names = CatalogueNames(known)
    rows = _chosen(asked, names, as_of, known, sites_allowed(actor, asked.sites))
    if after is not None:
        rows = rows.filter(device__gt=after)
    found = list(rows.order_by("device")[: limit + 1].values_list(*_COLUMNS))
    page = _listed(found[:limit], names, as_of, known)
    return DevicesPage(page, page[-1].device if len(found) > limit else None)


def one_device(device: int, *, as_of: dt.date, known: int, actor: Actor) -> DeviceListed | None:
    """None: on that day there was no such device at the actor's sites. One that has left is found where it stood."""
    names = CatalogueNames(known)
    rows = _chosen(DevicesFilter(left=True), names, as_of, known, actor.sites).filter(device=device)
    return next(iter(_listed(list(rows.values_list(*_COLUMNS)), names, as_of, known)), None)


_COLUMNS = ("device_id", "serial", "device_model_id", "tag", "stands_in", "owned_as", "state", "revised_to")


def _chosen(
    asked: DevicesFilter, names: CatalogueNames, as_of: dt.date, known: int, sites: frozenset[int] | None
) -> QuerySet[Any]:
    def on_the_day(facts: Any, column: str) -> Subquery:
        """What is in force of the device: a look-up by (device, from_on, id)."""
        said = facts.objects.known(known).filter(device=OuterRef("device"), from_on__lte=as_of)
        return Subquery(said.order_by("-from_on", "-pk").values(column)[:1])

    rows: QuerySet[Any] = DeviceIdentity.objects.known(known).annotate(
        tag=on_the_day(TagHeld, "tag"),
        stands_in=on_the_day(Placement, "area"),
        owned_as=on_the_day(Ownership, "kind"),
        state=on_the_day(ServiceState, "state"),
        revised_to=on_the_day(DeviceRevision, "revision"),
    )
    areas = names.areas_of(sites, asked.areas)
    rows = rows.filter(stands_in__isnull=False) if areas is None else rows.filter(stands_in__in=areas)
    models = names.models_of(asked.device_classes, asked.device_models)
    if models is not None:
        rows = rows.filter(device_model__among=models)
    if asked.service_states is not None:
        rows = rows.filter(state__in=asked.service_states)
    if not asked.left and ServiceStateKind.LEFT not in (asked.service_states or ()):
        rows = rows.filter(Q(state__isnull=True) | ~Q(state=ServiceStateKind.LEFT))
    for word in asked.words.split():
        called = Q(serial__icontains=word) | Q(tag__icontains=word)
        rows = rows.filter(called | Q(device_model__among=names.models_called(word)))
    return rows


def _listed(
    rows: Iterable[tuple[Any, ...]], names: CatalogueNames, as_of: dt.date, known: int
) -> tuple[DeviceListed, ...]:
    rows = list(rows)
    classes = {device: names.class_of(model) for device, _, model, *_ in rows}
    risk = risk_facts(known).of_devices(classes, as_of)
    return tuple(
        DeviceListed(
            device=device,
            tag=tag,
            serial=serial,
            maker=names.model(model).maker,
            model=names.model(model).name,
            device_model=model,
            revision=names.revision(revision),
            device_class=names.device_class(classes[device]),
            site=names.site(names.site_of(area)),
            area=names.area(area),
            ownership=None if owned_as is None else OwnershipKind(owned_as),
            service_state=None if state is None else ServiceStateKind(state),
            risk_class=risk[device],
        )
        for device, serial, model, tag, area, owned_as, state, revision in rows
    )
