"""Holds: which devices may not be used and why, and placing one."""

import datetime as dt
from dataclasses import dataclass

from api.documented import DAY, Parameter
from api.fault_asked import asked_with, filters_of, read_filter, words_of, yes_no
from api.serializers import serializer_of
from api.views import Found, ListView, When
from api.writing import Writes, body_of
from pmcore.engines.vocabulary import HoldReason
from pmcore.queries.fault_pages import FaultsFilter, HoldListed, holds_page
from pmcore.queries.parameters import BadParameters, Parameters, a_word_of
from pmcore.services.holds import place_hold
from pmcore.services.requests import Receipt, Request


@dataclass(frozen=True)
class HoldSent:
    """The device may not be used from a day on, today at the latest."""

    device: int
    reason: str
    from_on: dt.date
    finding: int | None = None
    note: str | None = None


class Holds(Writes, ListView):
    resource = "holds"
    period = ("stood_from", "stood_to")
    says = {
        "GET": "Lists the holds that were placed by a day on devices at your sites, in order of ids.",
        "POST": "Places a hold: from a day on the device may not be used.",
    }
    serializer = serializer_of(HoldListed)
    body = body_of(HoldSent)
    filters = filters_of(
        "hold",
        "placed",
        yes_no("in_force", "yes: only those that are in force on the day; no: only those that were lifted."),
        words_of("reason", "Only for these reasons.", HoldReason),
        Parameter("stood_from", "Only those that stood on this day or later.", DAY),
        Parameter("stood_to", "Only those that stood on this day or before.", DAY),
    )

    def read(self, asked: Parameters) -> FaultsFilter:
        return read_filter(asked, "hold", "placed", "in_force")

    def page(self, chosen: FaultsFilter, when: When, after: int | None, limit: int) -> Found:
        found = holds_page(asked_with(chosen, when, self.actor, after, limit))
        return found.records, found.after

    def write(self, asked: HoldSent, request: Request, **key: int) -> Receipt:
        try:
            reason = a_word_of(HoldReason)(asked.reason)
        except ValueError as wrong:
            raise BadParameters({"reason": f"reason: {wrong}"}) from wrong
        return place_hold(
            device=asked.device, reason=reason, from_on=asked.from_on, finding=asked.finding, note=asked.note,
            actor=self.actor, at=self.at, request=request,
        )  # fmt: skip

    def where(self, receipt: Receipt) -> str:
        return f"/api/v1/holds/?hold={receipt.first_id}"
