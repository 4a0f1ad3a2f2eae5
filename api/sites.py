"""The sites of whoever asks."""

from rest_framework.request import Request
from rest_framework.response import Response
from rest_framework_dataclasses.serializers import DataclassSerializer

from api.asking import Resource, after_of
from api.catalogue import list_schema, place_of
from api.permissions import EVERYBODY
from pmcore.queries.catalogue_lists import SiteListed, sites_page


class SiteSerializer(DataclassSerializer):
    class Meta:
        dataclass = SiteListed


class Sites(Resource):
    roles = {"GET": EVERYBODY}

    @list_schema("The sites that you are a member of.", SiteSerializer)
    def get(self, request: Request) -> Response:
        asked = self.asked(request, paged=True)
        found = sites_page(place_of(asked), actor=asked.actor)
        return self.page(request, asked, SiteSerializer(found.results, many=True).data, after_of(found.after))
