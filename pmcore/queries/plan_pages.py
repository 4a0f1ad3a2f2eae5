"""Inspection plans, as a list. A plan belongs to no site; one for a single device is listed wherever that stands."""

import datetime as dt
from dataclasses import dataclass, fields
from enum import StrEnum
from typing import Any

from pmcore.engines.vocabulary import Basis, PlanBasis, Unit, UsageUnit, WindowKind
from pmcore.models import PlanTerms
from pmcore.queries.pages import Page


@dataclass(frozen=True, slots=True)
class PlanRecord:
    """The terms in force on the day. Of `device_class`, `device_model` and `device` one is filled. `anchor_on`: null,
    where each device counts from its own first day. `basis_note`: null too, where the words were taken out."""

    plan: int
    name: str
    device_class: int | None
    device_model: int | None
    device: int | None
    procedure: int
    every: int
    unit: Unit
    counts_from: Basis
    anchor_on: dt.date | None
    window: WindowKind
    window_before: int | None
    window_after: int | None
    usage_limit: str | None
    usage_unit: UsageUnit | None
    basis: PlanBasis
    basis_note: str | None
    from_on: dt.date
    ended: bool
    approved_by: int
    second_signature: int | None


@dataclass(frozen=True, slots=True)
class PlansFilter:
    """None: all of them. `ended`: also those that have ended."""

    procedures: frozenset[int] | None = None
    device_classes: frozenset[int] | None = None
    bases: frozenset[PlanBasis] | None = None
    ended: bool = False


_REFERENCES = {"plan", "device_class", "device_model", "device", "procedure", "approved_by", "second_signature"}
_VOCABULARY: dict[str, type[StrEnum]] = {
    "unit": Unit,
    "counts_from": Basis,
    "window": WindowKind,
    "usage_unit": UsageUnit,
    "basis": PlanBasis,
}
_NAMES = [each.name for each in fields(PlanRecord)]
_COLUMNS = ["basis_note__words" if name == "basis_note" else name for name in _NAMES]


def plans_page(
    asked: PlansFilter, *, as_of: dt.date, known: int, after: int | None = None, limit: int
) -> Page[PlanRecord]:
    """One statement."""
    rows: Any = PlanTerms.objects.known(known).on(as_of).filter(plan__gt=after or 0)
    if not asked.ended:
        rows = rows.filter(ended=False)
    if asked.procedures is not None:
        rows = rows.filter(procedure__among=asked.procedures)
    if asked.device_classes is not None:
        rows = rows.filter(device_class__among=asked.device_classes)
    if asked.bases is not None:
        rows = rows.filter(basis__in=asked.bases)
    columns = [f"{name}_id" if name in _REFERENCES else name for name in _COLUMNS]
    found = [_record(row) for row in rows.order_by("plan").values_list(*columns)[: limit + 1]]
    return Page.of(found, limit, lambda each: each.plan)


def _record(row: tuple[Any, ...]) -> PlanRecord:
    said = dict(zip(_NAMES, row, strict=True))
    for name, vocabulary in _VOCABULARY.items():
        said[name] = None if said[name] is None else vocabulary(said[name])
    return PlanRecord(**said)
