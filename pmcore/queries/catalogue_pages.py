"""Device classes and device models, as lists. They belong to no site."""

import datetime as dt
from collections import defaultdict
from dataclasses import dataclass
from typing import Any

from pmcore.engines.vocabulary import EnergySource, RiskClass
from pmcore.models import ClassDetails, ModelDetails, RevisionDetails
from pmcore.queries.devices import Named
from pmcore.queries.pages import Page
from pmcore.queries.risk import risk_facts


@dataclass(frozen=True, slots=True)
class ClassRecord:
    """`life_support`: null is not no; `risk_class`: what its score says on the day."""

    device_class: int
    name: str
    product_code: str | None
    regulation: str | None
    life_support: bool | None
    risk_class: RiskClass


@dataclass(frozen=True, slots=True)
class ModelRecord:
    """`revisions`: all that are known, with the labels that they have on the day."""

    device_model: int
    maker: str
    name: str
    device_class: int
    energy_sources: tuple[EnergySource, ...]
    revisions: tuple[Named, ...]


@dataclass(frozen=True, slots=True)
class ModelsFilter:
    """None: of every class."""

    device_classes: frozenset[int] | None = None


def classes_page(*, as_of: dt.date, known: int, after: int | None = None, limit: int) -> Page[ClassRecord]:
    """Seven statements."""
    rows: Any = ClassDetails.objects.known(known).on(as_of).filter(device_class__gt=after or 0)
    columns = ("device_class_id", "name", "product_code", "regulation", "life_support")
    facts = risk_facts(known)
    chosen = rows.order_by("device_class").values_list(*columns)[: limit + 1]
    found = [
        ClassRecord(device_class, name, code, regulation, life_support, facts.of_class(device_class, as_of))
        for device_class, name, code, regulation, life_support in chosen
    ]
    return Page.of(found, limit, lambda each: each.device_class)


def models_page(
    asked: ModelsFilter, *, as_of: dt.date, known: int, after: int | None = None, limit: int
) -> Page[ModelRecord]:
    """Two statements."""
    rows: Any = ModelDetails.objects.known(known).on(as_of).filter(device_model__gt=after or 0)
    if asked.device_classes is not None:
        rows = rows.filter(device_class__among=asked.device_classes)
    columns = ("device_model_id", "maker", "name", "device_class_id", *EnergySource)
    chosen = list(rows.order_by("device_model").values_list(*columns)[: limit + 1])
    revisions = _revisions([row[0] for row in chosen], as_of, known)
    found = [
        ModelRecord(
            device_model=model,
            maker=maker,
            name=name,
            device_class=device_class,
            energy_sources=tuple(source for source, used in zip(EnergySource, uses, strict=True) if used),
            revisions=tuple(revisions[model]),
        )
        for model, maker, name, device_class, *uses in chosen
    ]
    return Page.of(found, limit, lambda each: each.device_model)


def _revisions(models: list[int], as_of: dt.date, known: int) -> dict[int, list[Named]]:
    rows = RevisionDetails.objects.known(known).on(as_of).filter(revision__device_model__among=models)
    found: dict[int, list[Named]] = defaultdict(list)
    columns = ("revision__device_model_id", "revision_id", "label")
    for model, revision, label in rows.order_by("revision").values_list(*columns):
        found[model].append(Named(revision, label))
    return found
