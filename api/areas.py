"""Theatres, wards, stores and workshops."""

from rest_framework.request import Request
from rest_framework.response import Response
from rest_framework_dataclasses.serializers import DataclassSerializer

from api.asking import Resource, after_of
from api.catalogue import list_schema, place_of
from api.permissions import EVERYBODY
from pmcore.queries.catalogue_lists import AreaListed, areas_page


class AreaSerializer(DataclassSerializer):
    class Meta:
        dataclass = AreaListed


class Areas(Resource):
    roles = {"GET": EVERYBODY}

    @list_schema("The areas of your sites.", AreaSerializer)
    def get(self, request: Request) -> Response:
        asked = self.asked(request, paged=True)
        found = areas_page(place_of(asked), actor=asked.actor)
        return self.page(request, asked, AreaSerializer(found.results, many=True).data, after_of(found.after))
