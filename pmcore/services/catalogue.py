"""Device classes, makers' models and their revisions."""

import datetime as dt
from collections.abc import Collection

from pmcore.engines.records import Actor
from pmcore.engines.vocabulary import EnergySource
from pmcore.models import ClassDetails, DeviceClass, DeviceModel, ModelDetails, ModelRevision, RevisionDetails
from pmcore.models.rows import Row
from pmcore.services.append import append
from pmcore.services.permissions import use_case
from pmcore.services.refusals import RecordRefused
from pmcore.services.requests import Receipt, Request
from pmcore.services.values import check_values, same_but_for_case


class AlreadyListed(RecordRefused):
    """The catalogue has one of this name: two would share their failures between them, and neither rate be right."""

    def __init__(self, name: str) -> None:
        super().__init__(f"The catalogue already lists {name!r}.")


@use_case("register a class", "class_registered")
def register_class(
    *,
    name: str,
    from_on: dt.date,
    actor: Actor,
    at: dt.datetime,
    product_code: str | None = None,
    regulation: str | None = None,
    life_support: bool | None = None,
    request: Request | None = None,
) -> Receipt:
    """A generic kind of device. Raises AlreadyListed, NotAllowed."""
    device_class = Row(DeviceClass)
    details = Row(
        ClassDetails,
        device_class=device_class,
        from_on=from_on,
        name=name,
        product_code=product_code,
        regulation=regulation,
        life_support=life_support,
    )
    check_values(details)
    if same_but_for_case(ClassDetails.objects.current(), "name", name).exists():
        raise AlreadyListed(name)
    return append("class_registered", device_class, [device_class, details], actor=actor, at=at, request=request)


@use_case("register a model", "model_registered")
def register_model(
    *,
    maker: str,
    name: str,
    device_class: int,
    energy_sources: Collection[EnergySource],
    from_on: dt.date,
    actor: Actor,
    at: dt.datetime,
    request: Request | None = None,
) -> Receipt:
    """A maker's model, with the energy sources that every function must be proven on. Raises AlreadyListed,
    UnknownReference, NotAllowed."""
    model = Row(DeviceModel)
    details = Row(
        ModelDetails,
        device_model=model,
        from_on=from_on,
        maker=maker,
        name=name,
        device_class=device_class,
        mains=EnergySource.MAINS in energy_sources,
        battery=EnergySource.BATTERY in energy_sources,
        manual=EnergySource.MANUAL in energy_sources,
    )
    check_values(details)
    of_maker = same_but_for_case(ModelDetails.objects.current(), "maker", maker)
    if same_but_for_case(of_maker, "name", name).exists():
        raise AlreadyListed(f"{maker} {name}")
    return append("model_registered", model, [model, details], actor=actor, at=at, request=request)


@use_case("register a revision", "revision_registered")
def register_revision(
    *,
    device_model: int,
    label: str,
    from_on: dt.date,
    actor: Actor,
    at: dt.datetime,
    request: Request | None = None,
) -> Receipt:
    """A revision of a model. Raises AlreadyListed, UnknownReference, NotAllowed."""
    revision = Row(ModelRevision, device_model=device_model)
    details = Row(RevisionDetails, revision=revision, from_on=from_on, label=label)
    check_values(revision, details)
    of_model = RevisionDetails.objects.current().filter(revision__device_model=device_model)
    if same_but_for_case(of_model, "label", label).exists():
        raise AlreadyListed(label)
    return append("revision_registered", revision, [revision, details], actor=actor, at=at, request=request)
