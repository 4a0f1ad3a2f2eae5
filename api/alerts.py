"""Alerts: what somebody was told of and is still to be done, and that they know of it."""

from dataclasses import dataclass

from django.http import Http404

from api.documented import DAY, Parameter, in_the_path
from api.serializers import serializer_of
from api.views import Found, ListView, When
from api.writing import Writes, body_of
from pmcore.queries.alerts import AlertItem, AlertsFilter, open_alerts
from pmcore.queries.parameters import Parameters, a_day
from pmcore.services.acknowledgements import NotTold, acknowledge
from pmcore.services.requests import Receipt, Request


@dataclass(frozen=True)
class Knowing:
    """Whoever sends it knows of the alert. `note`: what happens about it; no patient data."""

    note: str | None = None


class Alerts(ListView):
    resource = "alerts"
    period = ("told_from", "told_to")
    filters = (
        Parameter("told_from", "The first day on which you were told.", DAY),
        Parameter("told_to", "The last day on which you were told; who acknowledged it later is left out.", DAY),
    )
    says = {"GET": "Lists what you were told of and is still to be done, what nobody acknowledged first, by urgency."}
    serializer = serializer_of(AlertItem)

    def read(self, asked: Parameters) -> AlertsFilter:
        return AlertsFilter(asked.one("told_from", a_day), asked.one("told_to", a_day))

    def page(self, chosen: AlertsFilter, when: When, after: int | None, limit: int) -> Found:
        person = self.actor.person or 0
        found = open_alerts(person, as_of=when.as_of, known=when.known, what=chosen, after=after or 0, limit=limit)
        return found.rows, found.next_after


class Acknowledgement(Writes):
    resource = "alert-acknowledgement"
    says = {"POST": "Records that you know of an alert, at every step at which you were told of it so far."}
    body = body_of(Knowing)
    parameters = (in_the_path("alert", "The id of the alert."),)

    def write(self, asked: Knowing, request: Request, **key: int) -> Receipt:
        try:
            return acknowledge(alert=key["alert"], note=asked.note, actor=self.actor, at=self.at, request=request)
        except NotTold as refused:
            raise Http404 from refused

    def where(self, receipt: Receipt) -> str:
        return "/api/v1/alerts/"
