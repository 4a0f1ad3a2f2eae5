"""Assignments: who is to do which due inspection, and giving them out."""

import datetime as dt
from dataclasses import dataclass

from rest_framework import status as http
from rest_framework.request import Request as HttpRequest
from rest_framework.response import Response

from api.documented import DAY, Parameter, several
from api.serializers import serializer_of
from api.views import Found, ListView, When
from api.writing import Sends, body_of
from pmcore.engines.vocabulary import Half
from pmcore.queries.assignments_page import AssignmentListed, AssignmentsFilter, assignments_page
from pmcore.queries.parameters import BadParameters, Parameters, a_day, a_number
from pmcore.services.assignments import AssignmentMade, assign_inspections, take_off
from pmcore.services.requests import Request


@dataclass(frozen=True)
class GivingOut:
    """Due inspections are given to a person on a day, in the half AM, PM or (null) at any time; without a person they
    are taken off whoever has them. Whoever had them before is relieved, unless the work is to be done `beside` them.
    `seen`: the size of the history in which you saw who had them; changes since then are refused."""

    due_inspections: tuple[int, ...]
    person: int | None = None
    on: dt.date | None = None
    half: str | None = None
    beside: bool = False
    seen: int | None = None


@dataclass(frozen=True, slots=True)
class CautionTold:
    """It stands, but look at it again: after_the_close, before_the_window_opens or no_working_day."""

    due_inspection: int
    code: str
    day: dt.date


@dataclass(frozen=True, slots=True)
class GivenOut:
    """`entries`: the places in the history, one for each device whose inspections changed hands (of a retry, the first
    one); none where all was so before."""

    entries: tuple[int, ...]
    cautions: tuple[CautionTold, ...]


class Assignments(Sends, ListView):
    resource = "assignments"
    says = {
        "GET": "Lists who is to do what on devices at your sites, in order of ids; a provider's own alone.",
        "POST": "Gives due inspections to a person on a day, or takes them off, all of them or none.",
    }
    serializer = serializer_of(AssignmentListed)
    body = body_of(GivingOut)
    period = ("on_from", "on_to")
    answer = serializer_of(GivenOut)
    filters = (
        several("person", "Only of these people, by id."),
        several("site", "Only on devices at these sites, by id."),
        Parameter("on_from", "The first day on which the work is to be done.", DAY),
        Parameter("on_to", "The last day on which the work is to be done.", DAY),
    )

    def read(self, asked: Parameters) -> AssignmentsFilter:
        people, sites = asked.many("person", a_number), asked.many("site", a_number)
        return AssignmentsFilter(people, asked.one("on_from", a_day), asked.one("on_to", a_day), sites)

    def page(self, chosen: AssignmentsFilter, when: When, after: int | None, limit: int) -> Found:
        found = assignments_page(chosen, as_of=when.as_of, known=when.known, actor=self.actor, after=after, limit=limit)
        return found.records, found.after

    def post(self, request: HttpRequest, **key: int) -> Response:
        """As every deed, but that it writes several entries and has cautions to tell."""
        made = self._give(self.sent(request), self._request())
        cautions = tuple(CautionTold(each.due_inspection, each.code, each.day) for each in made.cautions)
        told = GivenOut(tuple(receipt.seq for receipt in made.receipts), cautions)
        fresh = any(not receipt.repeated for receipt in made.receipts)
        return Response(self.answer(told).data, status=http.HTTP_201_CREATED if fresh else http.HTTP_200_OK)

    def _give(self, asked: GivingOut, request: Request) -> AssignmentMade:
        if asked.half not in {None, *Half}:
            raise BadParameters({"half": f"half: {asked.half!r} is none of {', '.join(Half)}."})
        if asked.person is None:
            if asked.on is not None or asked.half is not None:
                raise BadParameters({"person": "person: say who is to do them on that day."})
            return take_off(
                due_inspections=asked.due_inspections, seen=asked.seen, actor=self.actor, at=self.at, request=request
            )
        if asked.on is None:
            raise BadParameters({"on": "on: say on which day."})
        return assign_inspections(
            due_inspections=asked.due_inspections, person=asked.person, on=asked.on,
            half=None if asked.half is None else Half(asked.half), beside=asked.beside, seen=asked.seen,
            actor=self.actor, at=self.at, request=request,
        )  # fmt: skip
