"""The generic kinds of devices."""

from rest_framework.request import Request
from rest_framework.response import Response
from rest_framework_dataclasses.serializers import DataclassSerializer

from api.asking import Resource, after_of
from api.catalogue import list_schema, place_of
from api.permissions import EVERYBODY
from pmcore.queries.catalogue_lists import ClassListed, classes_page


class DeviceClassSerializer(DataclassSerializer):
    class Meta:
        dataclass = ClassListed


class DeviceClasses(Resource):
    roles = {"GET": EVERYBODY}

    @list_schema("Every device class.", DeviceClassSerializer)
    def get(self, request: Request) -> Response:
        asked = self.asked(request, paged=True)
        found = classes_page(place_of(asked))
        return self.page(request, asked, DeviceClassSerializer(found.results, many=True).data, after_of(found.after))
