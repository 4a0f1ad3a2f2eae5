"""Sites, areas, device classes and models, procedures and plans as lists: what is in force on a day, by id."""

import datetime as dt
from collections import defaultdict
from collections.abc import Callable, Sequence
from dataclasses import dataclass
from typing import Any, Generic, TypeVar

from pmcore.engines.records import Actor
from pmcore.engines.vocabulary import AreaKind, Basis, PlanBasis, Unit, WindowKind
from pmcore.models import (
    AreaDetails,
    ClassDetails,
    ModelDetails,
    PlanTerms,
    ProcedureDetails,
    ProcedureVersion,
    SiteDetails,
    Step,
    VersionApproval,
)
from pmcore.queries.asked import check_asked

Row = TypeVar("Row")


@dataclass(frozen=True, slots=True)
class Page(Generic[Row]):
    """`after`: the id after which the next page begins; None: there is none."""

    results: tuple[Row, ...]
    after: int | None


@dataclass(frozen=True, slots=True)
class SiteListed:
    id: int
    label: str
    name: str
    time_zone: str


@dataclass(frozen=True, slots=True)
class AreaListed:
    id: int
    site: int
    name: str
    kind: AreaKind
    closed: bool


@dataclass(frozen=True, slots=True)
class ClassListed:
    id: int
    name: str
    life_support: bool


@dataclass(frozen=True, slots=True)
class ModelListed:
    """The energy sources that it runs on stand as three answers."""

    id: int
    maker: str
    name: str
    device_class: int
    mains: bool
    battery: bool
    manual: bool


@dataclass(frozen=True, slots=True)
class VersionListed:
    """`approved`: whether it is the one to use on the day asked for."""

    id: int
    number: int
    approved: bool


@dataclass(frozen=True, slots=True)
class ProcedureListed:
    id: int
    name: str
    withdrawn: bool
    versions: tuple[VersionListed, ...]


@dataclass(frozen=True, slots=True)
class StepListed:
    version: int
    number: int
    key: str
    kind: str
    prompt: str
    mandatory: bool
    subsystem: str | None
    unit: str | None
    low: str | None
    high: str | None


@dataclass(frozen=True, slots=True)
class PlanListed:
    """Of the three targets one is given. `every` counts `unit`s."""

    id: int
    name: str
    device_class: int | None
    device_model: int | None
    device: int | None
    procedure: int
    every: int
    unit: Unit
    counts_from: Basis
    window: WindowKind
    window_before: int | None
    window_after: int | None
    basis: PlanBasis
    from_on: dt.date
    ended: bool
    approved_by: int


@dataclass(frozen=True, slots=True)
class Place:
    """Where in the history and in the list: as of a day, as known at a size, from which id on, how many."""

    as_of: dt.date
    known: int
    today: dt.date
    after: int | None = None
    limit: int = 100

    def check(self) -> None:
        """Raises AsOfAhead, KnownBeyond."""
        check_asked(as_of=self.as_of, known=self.known, today=self.today)


def sites_page(at: Place, *, actor: Actor) -> Page[SiteListed]:
    """Those of the actor. Raises AsOfAhead, KnownBeyond, as the others do."""
    where = {} if actor.sites is None else {"site__in": actor.sites}
    return _page(at, SiteDetails, "site", ("label", "name", "time_zone"), lambda row: SiteListed(*row), where)


def areas_page(at: Place, *, actor: Actor) -> Page[AreaListed]:
    where = {} if actor.sites is None else {"area__site__in": actor.sites}
    return _page(at, AreaDetails, "area", ("area__site_id", "name", "kind", "closed"), _area_listed, where)


def _area_listed(row: Sequence[Any]) -> AreaListed:
    area, site, name, kind, closed = row
    return AreaListed(area, site, name, AreaKind(kind), closed)


def classes_page(at: Place) -> Page[ClassListed]:
    return _page(at, ClassDetails, "device_class", ("name", "life_support"), _class_listed)


def _class_listed(row: Sequence[Any]) -> ClassListed:
    return ClassListed(row[0], row[1], bool(row[2]))


def models_page(at: Place) -> Page[ModelListed]:
    columns = ("maker", "name", "device_class_id", "mains", "battery", "manual")
    return _page(at, ModelDetails, "device_model", columns, lambda row: ModelListed(*row))


def procedures_page(at: Place) -> Page[ProcedureListed]:
    """With their versions: three statements more than the others."""
    versions = _versions(at)

    def listed(row: Sequence[Any]) -> ProcedureListed:
        procedure, name, withdrawn = row
        return ProcedureListed(procedure, name, withdrawn, tuple(versions.get(procedure, ())))

    return _page(at, ProcedureDetails, "procedure", ("name", "withdrawn"), listed)


def steps_of_procedure(procedure: int, at: Place) -> tuple[StepListed, ...]:
    """The lines of all its versions."""
    at.check()
    rows = Step.objects.known(at.known).filter(sheet__version__procedure=procedure)
    columns = ("sheet__version_id", "number", "key", "kind", "prompt", "mandatory", "subsystem", "unit", "low", "high")
    ordered = rows.order_by("sheet__version__number", "number", "id")
    return tuple(StepListed(*row) for row in ordered.values_list(*columns))


def plans_page(at: Place) -> Page[PlanListed]:
    columns = (
        "name", "device_class_id", "device_model_id", "device_id", "procedure_id", "every", "unit", "counts_from",
        "window", "window_before", "window_after", "basis", "from_on", "ended", "approved_by_id",
    )  # fmt: skip
    return _page(at, PlanTerms, "plan", columns, _plan_listed)


def _plan_listed(row: Sequence[Any]) -> PlanListed:
    plan, name, device_class, model, device, procedure, every, unit, counts_from, window, before, after, *rest = row
    basis, from_on, ended, approved_by = rest
    return PlanListed(
        plan, name, device_class, model, device, procedure, every, Unit(unit), Basis(counts_from), WindowKind(window),
        before, after, PlanBasis(basis), from_on, ended, approved_by,
    )  # fmt: skip


def _versions(at: Place) -> dict[int, list[VersionListed]]:
    approvals = VersionApproval.objects.known(at.known).on(at.as_of)
    approved = set(approvals.filter(approved=True).values_list("version_id", flat=True))
    found: dict[int, list[VersionListed]] = defaultdict(list)
    rows = ProcedureVersion.objects.known(at.known).order_by("procedure", "number")
    for key, procedure, number in rows.values_list("id", "procedure_id", "number"):
        found[procedure].append(VersionListed(key, number, key in approved))
    return found


def _page(  # noqa: PLR0917  what a list is made of, in the order of the words
    at: Place,
    table: Any,
    thing: str,
    columns: Sequence[str],
    listed: Callable[[Sequence[Any]], Row],
    where: dict[str, Any] | None = None,
) -> Page[Row]:
    """What the table says of each thing on the day, in order of ids."""
    at.check()
    rows = table.objects.known(at.known).on(at.as_of).filter(**where or {}).order_by(thing)
    if at.after is not None:
        rows = rows.filter(**{f"{thing}__gt": at.after})
    found = list(rows.values_list(f"{thing}_id", *columns)[: at.limit + 1])
    page = tuple(listed(row) for row in found[: at.limit])
    return Page(page, found[at.limit - 1][0] if len(found) > at.limit else None)
