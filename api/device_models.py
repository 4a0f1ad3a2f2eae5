"""The makers' models."""

from rest_framework.request import Request
from rest_framework.response import Response
from rest_framework_dataclasses.serializers import DataclassSerializer

from api.asking import Resource, after_of
from api.catalogue import list_schema, place_of
from api.permissions import EVERYBODY
from pmcore.queries.catalogue_lists import ModelListed, models_page


class DeviceModelSerializer(DataclassSerializer):
    class Meta:
        dataclass = ModelListed


class DeviceModels(Resource):
    roles = {"GET": EVERYBODY}

    @list_schema("Every device model.", DeviceModelSerializer)
    def get(self, request: Request) -> Response:
        asked = self.asked(request, paged=True)
        found = models_page(place_of(asked))
        return self.page(request, asked, DeviceModelSerializer(found.results, many=True).data, after_of(found.after))
