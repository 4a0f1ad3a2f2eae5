"""Fault reports: what was seen in clinical areas, and reporting one."""

import datetime as dt
from dataclasses import dataclass

from api.fault_asked import asked_with, filters_of, read_filter, yes_no
from api.serializers import serializer_of
from api.views import Found, ListView, When
from api.writing import Writes, body_of
from pmcore.queries.fault_pages import FaultReportListed, FaultsFilter, fault_reports_page
from pmcore.queries.parameters import Parameters
from pmcore.services.faults import report_fault
from pmcore.services.requests import Receipt, Request


@dataclass(frozen=True)
class FaultSent:
    """What you saw on a device, when, and in which area. `could_harm`: the device is held at once."""

    device: int
    seen_at: dt.datetime
    account: str
    area: int | None = None
    during_use: bool | None = None
    could_harm: bool = False


class FaultReports(Writes, ListView):
    resource = "fault-reports"
    period = ("seen_from", "seen_to")
    says = {
        "GET": "Lists what was reported by a day on devices at your sites, in order of ids.",
        "POST": "Reports what you saw on a device, and holds it at once where it could harm somebody.",
    }
    serializer = serializer_of(FaultReportListed)
    body = body_of(FaultSent)
    filters = filters_of(
        "fault_report", "seen", yes_no("open", "yes: only those that no finding answers; no: only the others.")
    )

    def read(self, asked: Parameters) -> FaultsFilter:
        return read_filter(asked, "fault_report", "seen", "open")

    def page(self, chosen: FaultsFilter, when: When, after: int | None, limit: int) -> Found:
        found = fault_reports_page(asked_with(chosen, when, self.actor, after, limit))
        return found.records, found.after

    def write(self, asked: FaultSent, request: Request, **key: int) -> Receipt:
        return report_fault(
            device=asked.device, seen_at=asked.seen_at, account=asked.account, area=asked.area,
            during_use=asked.during_use, could_harm=asked.could_harm, actor=self.actor, at=self.at, request=request,
        )  # fmt: skip

    def where(self, receipt: Receipt) -> str:
        return f"/api/v1/fault-reports/?fault_report={receipt.first_id}"
