"""Inspection plans."""

from api.documented import YES_OR_NO, Parameter, one_of, several
from api.serializers import serializer_of
from api.views import Found, ListView, When
from pmcore.engines.vocabulary import PlanBasis
from pmcore.queries.parameters import Parameters, a_number, a_word_of, yes_or_no
from pmcore.queries.plan_pages import PlanRecord, PlansFilter, plans_page


class InspectionPlans(ListView):
    resource = "inspection-plans"
    says = {"GET": "Lists the inspection plans with the terms that are in force on a day."}
    serializer = serializer_of(PlanRecord)
    filters = (
        several("procedure", "Only plans for these procedures, by id."),
        several("device_class", "Only plans for these device classes as such, by id."),
        several("basis", "Only plans on one of these grounds.", one_of(PlanBasis)),
        Parameter("ended", "Whether plans that have ended are listed too.", YES_OR_NO),
    )

    def read(self, asked: Parameters) -> PlansFilter:
        return PlansFilter(
            procedures=asked.many("procedure", a_number),
            device_classes=asked.many("device_class", a_number),
            bases=asked.many("basis", a_word_of(PlanBasis)),
            ended=asked.one("ended", yes_or_no) or False,
        )

    def page(self, chosen: PlansFilter, when: When, after: int | None, limit: int) -> Found:
        found = plans_page(chosen, as_of=when.as_of, known=when.known, after=after, limit=limit)
        return found.records, found.after
