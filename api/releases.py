"""Releases: the signed statements that lift holds, and signing one."""

import datetime as dt
from dataclasses import dataclass

from api.fault_asked import asked_with, filters_of, read_filter
from api.serializers import serializer_of
from api.views import Found, ListView, When
from api.writing import Writes, body_of
from pmcore.queries.fault_pages import FaultsFilter, ReleaseListed, releases_page
from pmcore.queries.parameters import Parameters
from pmcore.services.releases import sign_release
from pmcore.services.requests import Receipt, Request


@dataclass(frozen=True)
class ReleaseSent:
    """You sign that the device may be used again; `holds` names those that are lifted. `restriction`: what remains.
    `note`: on what ground, where the record does not show it. `signed_at`: now, where nothing is said."""

    device: int
    holds: tuple[int, ...]
    signed_at: dt.datetime | None = None
    inspection: int | None = None
    restriction: str | None = None
    note: str | None = None


class Releases(Writes, ListView):
    resource = "releases"
    period = ("signed_from", "signed_to")
    says = {
        "GET": "Lists the releases that were signed by a day for devices at your sites, in order of ids.",
        "POST": "Signs a release that lifts holds; pmcore is an aid and signs for nobody.",
    }
    serializer = serializer_of(ReleaseListed)
    body = body_of(ReleaseSent)
    filters = filters_of("release", "signed")

    def read(self, asked: Parameters) -> FaultsFilter:
        return read_filter(asked, "release", "signed")

    def page(self, chosen: FaultsFilter, when: When, after: int | None, limit: int) -> Found:
        found = releases_page(asked_with(chosen, when, self.actor, after, limit))
        return found.records, found.after

    def write(self, asked: ReleaseSent, request: Request, **key: int) -> Receipt:
        return sign_release(
            device=asked.device, holds=asked.holds, signed_at=asked.signed_at or self.at, inspection=asked.inspection,
            restriction=asked.restriction, note=asked.note, actor=self.actor, at=self.at, request=request,
        )  # fmt: skip

    def where(self, receipt: Receipt) -> str:
        return f"/api/v1/releases/?release={receipt.first_id}"
