"""The inventory as a list: who each device is, what it is, where it stands and whether it is in service."""

import datetime as dt
from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from typing import Any

from django.db.models import Exists, OuterRef, Q, QuerySet, Subquery

from pmcore.engines.records import Actor
from pmcore.engines.vocabulary import OwnershipKind, RiskClass, ServiceStateKind
from pmcore.models import (
    AreaDetails,
    ClassDetails,
    DeviceIdentity,
    DeviceRevision,
    ModelDetails,
    Ownership,
    Placement,
    RevisionDetails,
    ServiceState,
    SiteDetails,
    TagHeld,
)
from pmcore.queries.asked import check_asked, sites_allowed
from pmcore.queries.columns import MAX_INT
from pmcore.queries.holds import held_devices
from pmcore.queries.risk import risk_facts

MOST_DEVICES = 500


@dataclass(frozen=True, slots=True)
class DeviceFilter:
    """None: all of them. `words`: each must stand in tag, serial number, maker, model or device class; what left the
    inventory is named only where `states` asks for it. `held`: whether a hold forbids their use."""

    words: str = ""
    sites: frozenset[int] | None = None
    areas: frozenset[int] | None = None
    device_classes: frozenset[int] | None = None
    device_models: frozenset[int] | None = None
    states: frozenset[ServiceStateKind] | None = None
    held: bool | None = None


@dataclass(frozen=True, slots=True)
class Named:
    """The id of a site, area, class or model, and what it is called."""

    id: int
    name: str


@dataclass(frozen=True, slots=True)
class DeviceListed:
    """One device on a day. None: nobody recorded it."""

    device: int
    tag: str | None
    serial: str
    maker: str
    model: Named
    revision: str | None
    device_class: Named | None
    site: Named | None
    area: Named | None
    ownership: OwnershipKind | None
    state: ServiceStateKind
    held: bool
    risk_class: RiskClass


@dataclass(frozen=True, slots=True)
class DevicePageListed:
    """`after`: the key with which the next page begins; None: there is none."""

    devices: tuple[DeviceListed, ...]
    after: int | None


def devices_page(
    asked: DeviceFilter,
    *,
    as_of: dt.date,
    known: int,
    today: dt.date | None,
    actor: Actor,
    after: int | None = None,
    limit: int = 50,
) -> DevicePageListed:
    """The devices at the actor's sites on the day, in order of ids, from the one after `after` on; as many statements
    whatever is asked. `today`: None where day and size were checked before, as for the pages that follow a first one.

    Raises AsOfAhead, KnownBeyond, OutsideYourSites.
    """
    if today is not None:
        check_asked(as_of=as_of, known=known, today=today)
    sites = sites_allowed(actor, asked.sites)
    names = _Names(known, as_of)
    rows = _rows(as_of, known)
    areas = names.areas_of(sites, asked.areas)
    if areas is not None:
        rows = rows.filter(area__in=areas)
    if asked.device_classes is not None or asked.device_models is not None:
        rows = rows.filter(device_model__in=names.models_of(asked.device_classes, asked.device_models))
    for word in asked.words.split():
        rows = rows.filter(Q(serial__icontains=word) | Q(tag__icontains=word) | Q(device_model__in=names.saying(word)))
    rows = rows.filter(_in_state(asked.states))
    if asked.held is not None:
        rows = rows.filter(held=asked.held)
    if after is not None:
        rows = rows.filter(device__gt=after)
    columns = ("device_id", "serial", "device_model_id", "tag", "area", "state", "held")
    found = list(rows.order_by("device").values_list(*columns)[: min(limit, MOST_DEVICES) + 1])
    page, more = found[: min(limit, MOST_DEVICES)], len(found) > min(limit, MOST_DEVICES)
    extra = _Extra(_classes(page, names), as_of, known)
    devices = tuple(_listed(row, names, extra) for row in page)
    return DevicePageListed(devices, devices[-1].device if more else None)


def one_device(device: int, *, as_of: dt.date, known: int, today: dt.date | None, actor: Actor) -> DeviceListed | None:
    """The device on the day; None: there is none at the actor's sites. `today`: as of a page. Raises AsOfAhead,
    KnownBeyond."""
    if today is not None:
        check_asked(as_of=as_of, known=known, today=today)
    if not 0 < device <= MAX_INT:
        return None
    names = _Names(known, as_of)
    columns = ("device_id", "serial", "device_model_id", "tag", "area", "state", "held")
    row = _rows(as_of, known).filter(device=device).values_list(*columns).first()
    if row is None:
        return None
    listed = _listed(row, names, _Extra(_classes([row], names), as_of, known))
    outside = actor.sites is not None and (listed.site is None or listed.site.id not in actor.sites)
    return None if outside else listed


def _rows(as_of: dt.date, known: int) -> QuerySet[Any]:
    """Each device with its tag, area and state in force on the day, and whether a hold forbids its use."""

    def newest(table: Any, column: str) -> Subquery:
        facts = table.objects.known(known).filter(device=OuterRef("device"), from_on__lte=as_of)
        return Subquery(facts.order_by("-from_on", "-id").values(column)[:1])

    rows: QuerySet[Any] = DeviceIdentity.objects.known(known).annotate(
        tag=newest(TagHeld, "tag"),
        area=newest(Placement, "area"),
        state=newest(ServiceState, "state"),
        held=Exists(held_devices(as_of, known).filter(hold__device=OuterRef("device"))),
    )
    return rows


def _in_state(states: frozenset[ServiceStateKind] | None) -> Q:
    """A device that nothing is said of is in service."""
    if states is None:
        return Q(state__isnull=True) | ~Q(state=ServiceStateKind.LEFT)
    asked = Q(state__in=states)
    return asked | Q(state__isnull=True) if ServiceStateKind.IN_SERVICE in states else asked


def _listed(row: Sequence[Any], names: "_Names", extra: "_Extra") -> DeviceListed:
    device, serial, model, tag, area, state, held = row
    maker, name, device_class = names.models.get(model, ("", "", None))
    site, area_name = names.areas.get(area, (None, ""))
    return DeviceListed(
        device=device,
        tag=tag,
        serial=serial,
        maker=maker,
        model=Named(model, name),
        revision=extra.revisions.get(device),
        device_class=Named(device_class, names.classes.get(device_class, "")) if device_class else None,
        site=Named(site, names.sites.get(site, "")) if site else None,
        area=Named(area, area_name) if area else None,
        ownership=extra.owned.get(device),
        state=ServiceStateKind(state or ServiceStateKind.IN_SERVICE),
        held=held,
        risk_class=extra.risk[device],
    )


def _classes(rows: Sequence[Any], names: "_Names") -> dict[int, int | None]:
    """Of each device."""
    return {row[0]: names.models[row[2]][2] if row[2] in names.models else None for row in rows}


class _Names:
    """What models, classes, areas and sites are called on the day: four statements."""

    def __init__(self, known: int, on: dt.date) -> None:
        described = ModelDetails.objects.known(known).order_by("from_on", "id")
        self.models: Mapping[int, tuple[str, str, int]] = {
            model: (maker, name, device_class)
            for model, maker, name, device_class in described.values_list(
                "device_model_id", "maker", "name", "device_class_id"
            )
        }
        classes = ClassDetails.objects.known(known).order_by("from_on", "id")
        self.classes = dict(classes.values_list("device_class_id", "name"))
        areas = AreaDetails.objects.known(known).order_by("from_on", "id")
        rows = areas.values_list("area_id", "area__site_id", "name")
        self.areas: Mapping[int, tuple[int | None, str]] = {area: (site, name) for area, site, name in rows}
        sites = SiteDetails.objects.known(known).order_by("from_on", "id")
        self.sites = dict(sites.values_list("site_id", "name"))

    def areas_of(self, sites: frozenset[int] | None, areas: frozenset[int] | None) -> list[int] | None:
        """None: wherever it stands."""
        if sites is None and areas is None:
            return None
        return [
            area
            for area, (site, _) in self.areas.items()
            if (sites is None or site in sites) and (areas is None or area in areas)
        ]

    def models_of(self, classes: frozenset[int] | None, models: frozenset[int] | None) -> list[int]:
        return [
            model
            for model, (_, _, device_class) in self.models.items()
            if (classes is None or device_class in classes) and (models is None or model in models)
        ]

    def saying(self, word: str) -> list[int]:
        """The models in whose maker, name or class the word stands."""
        wanted = word.casefold()
        return [
            model
            for model, (maker, name, device_class) in self.models.items()
            if wanted in f"{maker} {name} {self.classes.get(device_class, '')}".casefold()
        ]


class _Extra:
    """Revisions, ownership and risk classes of the devices of a page, given with their classes: eleven statements."""

    def __init__(self, classes: Mapping[int, int | None], on: dt.date, known: int) -> None:
        devices = classes.keys()
        self.risk = risk_facts(known).of_devices(classes, on)
        held = dict(
            DeviceRevision.objects.known(known).on(on).filter(device__among=devices).values_list(
                "device_id", "revision_id"
            )
        )  # fmt: skip
        called = RevisionDetails.objects.known(known).filter(revision__among=set(held.values()))
        names = dict(called.order_by("from_on", "id").values_list("revision_id", "label"))
        self.revisions = {device: names.get(revision) for device, revision in held.items()}
        owned = Ownership.objects.known(known).on(on).filter(device__among=devices)
        self.owned = {device: OwnershipKind(kind) for device, kind in owned.values_list("device_id", "kind")}
