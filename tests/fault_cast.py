"""What goes wrong with a device of the bench, told through the services, and how it comes back. Nobody and nothing here
exists."""

import datetime as dt
from typing import Any

from pmcore.engines.vocabulary import Cause, FailureKind, Severity, Subsystem
from pmcore.models import (
    FaultDetails,
    FindingDetails,
    HoldDetails,
    PartPosition,
    PositionDetails,
    ReleaseStatement,
    Repair,
    RepairDetails,
    RepairedFinding,
)
from pmcore.models.rows import Row
from pmcore.queries.head import head
from pmcore.queries.holds import HoldInForce, holds_in_force
from pmcore.services.faults import report_fault
from pmcore.services.findings import FindingLine, make_finding
from pmcore.services.releases import sign_release
from pmcore.services.requests import Receipt
from tests.bench_cast import Bench, moment
from tests.cast import AT, JANUARY
from tests.history import written

JUNE_1, JUNE_10 = dt.date(2026, 6, 1), dt.date(2026, 6, 10)


def a_line(**changed: Any) -> FindingLine:
    """A worn drive that stops use."""
    said: dict[str, Any] = {
        "subsystem": Subsystem.DRIVE, "mode": "It sinks under load.", "cause": Cause.WEAR,
        "failure": FailureKind.FUNCTIONAL, "severity": Severity.STOPS_USE, "note": None,
    }  # fmt: skip
    return FindingLine(**said | changed)


def minor(**changed: Any) -> FindingLine:
    said = {"failure": FailureKind.POTENTIAL, "severity": Severity.MINOR, "mode": "It creaks."}
    return a_line(**said | changed)


def reported(bench: Bench, **options: Any) -> Receipt:
    given = {
        "device": bench.device, "seen_at": moment(6, 1), "account": "It sank by itself.", "actor": bench.ruan, "at": AT,
    }  # fmt: skip
    return report_fault(**given | options)


def found(bench: Bench, line: FindingLine | None = None, **options: Any) -> Receipt:
    given = {"device": bench.device, "discovered_on": JUNE_1, "actor": bench.ruan, "at": AT}
    line = line or a_line(discovery="reported_in_use")
    return make_finding(finding=line, **given | options)


def released(bench: Bench, *holds: int, **options: Any) -> Receipt:
    given = {
        "device": bench.device, "signed_at": moment(6, 10), "note": "Drive changed, load held.", "actor": bench.odile,
        "at": AT,
    }  # fmt: skip
    return sign_release(holds=holds, **given | options)


def report_of(receipt: Receipt) -> int:
    return int(FaultDetails.objects.get(entry=receipt.seq).fault_report_id)


def finding_of(receipt: Receipt) -> int:
    return int(FindingDetails.objects.filter(entry=receipt.seq).earliest("pk").finding_id)


def hold_of(receipt: Receipt) -> int:
    return int(HoldDetails.objects.get(entry=receipt.seq).hold_id)


def release_of(receipt: Receipt) -> int:
    return int(ReleaseStatement.objects.get(entry=receipt.seq).release_id)


def in_force(bench: Bench, on: dt.date = JUNE_1, known: int | None = None) -> list[HoldInForce]:
    return holds_in_force(bench.device, on, head().size if known is None else known)


def a_position(model: int, label: str = "Drive motor", subsystem: str = "drive") -> int:
    position = Row(PartPosition, device_model=model)
    details = Row(
        PositionDetails, position=position, from_on=JANUARY, label=label, subsystem=subsystem, flex_point=False
    )
    return written("position_registered", position, position, details).subject


def repaired(bench: Bench, finding: int) -> Receipt:
    """What was found is repaired, on the second of June."""
    ended_at = moment(6, 2)
    repair = Row(Repair, device=bench.device)
    details = Row(
        RepairDetails, repair=repair, started_at=ended_at - dt.timedelta(hours=1), ended_at=ended_at,
        performed_on=ended_at.date(), account="Drive changed.",
    )  # fmt: skip
    mended = Row(RepairedFinding, details=details, finding=finding)
    return written("repair_done", bench.device, repair, details, mended)
