"""Inspections that no plan calls for: by which procedures a device can be inspected, and the sheet for one."""

import datetime as dt
from dataclasses import dataclass
from typing import Any

from pmcore.engines.coverage import Aim
from pmcore.engines.records import Actor
from pmcore.engines.vocabulary import InspectionKind, Role
from pmcore.models import (
    DeviceIdentity,
    InspectionSession,
    ModelDetails,
    PlanTerms,
    ProcedureDetails,
    VersionApproval,
)
from pmcore.queries.asked import check_known
from pmcore.queries.assigned import is_given
from pmcore.queries.bench_sheet import BenchSheet, SheetFor, sheet_for
from pmcore.queries.device_labels import labels_of
from pmcore.queries.devices import DeviceListed, one_device
from pmcore.queries.would_meet import would_meet

UNPLANNED = (InspectionKind.AFTER_REPAIR, InspectionKind.ON_REQUEST, InspectionKind.INCOMING)


@dataclass(frozen=True, slots=True)
class ProcedureChoice:
    """`version`: the one in use on the day."""

    procedure: int
    name: str
    version: int


@dataclass(frozen=True, slots=True)
class Inspectable:
    """A device, and the procedures that apply to it, by name."""

    device: DeviceListed
    procedures: tuple[ProcedureChoice, ...]


def inspectable(device: int, *, as_of: dt.date, known: int, actor: Actor) -> Inspectable | None:
    """None: there is no such device for the actor; for a provider, none on which they have work. Raises KnownBeyond."""
    check_known(known)
    listed = one_device(device, as_of=as_of, known=known, today=None, actor=actor)
    if listed is None or (actor.role is Role.PROVIDER and not is_given(actor.person or 0, device)):
        return None
    return Inspectable(listed, procedures_for(device, on=as_of, known=known))


def unplanned_sheet(
    device: int, kind: InspectionKind, procedure: int, *, as_of: dt.date, known: int, actor: Actor
) -> BenchSheet | None:
    """None: as for `inspectable`, and where the procedure does not apply to the device. Raises KnownBeyond."""
    found = inspectable(device, as_of=as_of, known=known, actor=actor)
    chosen = None if found is None else next((one for one in found.procedures if one.procedure == procedure), None)
    if found is None or chosen is None:
        return None
    listed = found.device
    what = SheetFor(
        device=labels_of([device], on=as_of, known=known)[device],
        device_class_name=listed.device_class.name if listed.device_class else "",
        site=listed.site.id if listed.site else 0,
        site_name=listed.site.name if listed.site else "",
        kind=kind,
        procedure=procedure,
        procedure_name=chosen.name,
        meets=would_meet(device, procedure, chosen.version, on=as_of, known=known, actor=actor),
    )
    return sheet_for(what, as_of=as_of, known=known)


def procedures_for(device: int, *, on: dt.date, known: int) -> tuple[ProcedureChoice, ...]:
    """Those that a plan calls for on the device, and those by which devices of its model were inspected before, as far
    as a version is approved and they are not withdrawn; by name. Six statements."""
    models = dict(DeviceIdentity.objects.known(known).filter(device=device).values_list("device", "device_model"))
    model = models.get(device)
    described = ModelDetails.objects.known(known).filter(device_model=model or 0).order_by("from_on", "id")
    device_class = described.values_list("device_class", flat=True).last()
    terms = PlanTerms.objects.known(known).on(on).filter(ended=False)
    columns = ("procedure_id", "device_id", "device_model_id", "device_class_id")
    wanted = {
        procedure
        for procedure, *aim in terms.values_list(*columns)
        if model is not None and Aim(*aim).meets(device, model, device_class)
    }
    alike = DeviceIdentity.objects.known(known).filter(device_model=model or 0).values("device")
    done = InspectionSession.objects.known(known).filter(inspection__device__in=alike).order_by()
    wanted.update(done.values_list("version__procedure_id", flat=True).distinct())
    return _in_use(wanted, on, known)


def _in_use(procedures: set[int], on: dt.date, known: int) -> tuple[ProcedureChoice, ...]:
    approved: Any = VersionApproval.objects.known(known).on(on).filter(approved=True, version__procedure__in=procedures)
    versions = dict(approved.order_by("version__number").values_list("version__procedure_id", "version_id"))
    details = ProcedureDetails.objects.known(known).on(on).filter(procedure__in=versions, withdrawn=False)
    rows = details.order_by("name", "procedure").values_list("procedure_id", "name")
    return tuple(ProcedureChoice(procedure, name, versions[procedure]) for procedure, name in rows)
