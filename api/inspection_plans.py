"""Which devices get which procedure, how often, on what basis."""

from rest_framework.request import Request
from rest_framework.response import Response
from rest_framework_dataclasses.serializers import DataclassSerializer

from api.asking import Resource, after_of
from api.catalogue import list_schema, place_of
from api.permissions import EVERYBODY
from pmcore.queries.catalogue_lists import PlanListed, plans_page


class PlanSerializer(DataclassSerializer):
    class Meta:
        dataclass = PlanListed


class InspectionPlans(Resource):
    roles = {"GET": EVERYBODY}

    @list_schema("The terms of every plan that are in force on the day, ended plans among them.", PlanSerializer)
    def get(self, request: Request) -> Response:
        asked = self.asked(request, paged=True)
        found = plans_page(place_of(asked))
        return self.page(request, asked, PlanSerializer(found.results, many=True).data, after_of(found.after))
