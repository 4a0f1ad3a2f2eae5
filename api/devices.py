"""The inventory."""

from django.http import Http404
from drf_spectacular.utils import extend_schema
from rest_framework.request import Request
from rest_framework.response import Response
from rest_framework_dataclasses.serializers import DataclassSerializer

from api.asking import Asked, Resource, after_of, many, number, one, text, word_of
from api.catalogue import AS_OF, KNOWN, filters, list_schema
from api.errors import problem_responses
from api.permissions import STAFF
from pmcore.engines.vocabulary import ServiceStateKind
from pmcore.queries.devices import DeviceFilter, DeviceListed, devices_page, one_device

_FILTERS = filters(
    site="Ids of sites.",
    area="Ids of areas.",
    device_class="Ids of device classes.",
    device_model="Ids of device models.",
    state="States; without, whatever has not left the inventory.",
) + filters("words")


class DeviceSerializer(DataclassSerializer):
    class Meta:
        dataclass = DeviceListed


class Devices(Resource):
    roles = {"GET": STAFF}
    parameters = ("words", "site", "area", "device_class", "device_model", "state")
    repeated = parameters[1:]

    @list_schema("The devices at your sites on the day, by filters.", DeviceSerializer, *_FILTERS)
    def get(self, request: Request) -> Response:
        asked = self.asked(request, paged=True)
        found = devices_page(
            self._filter(request),
            as_of=asked.as_of, known=asked.known, today=asked.today, actor=asked.actor,
            after=_after(asked), limit=asked.limit,
        )  # fmt: skip
        return self.page(request, asked, DeviceSerializer(found.devices, many=True).data, after_of(found.after))

    def _filter(self, request: Request) -> DeviceFilter:
        given = self.given(request, paged=True)
        sites, areas, classes, models = (
            many(given, name, number) for name in ("site", "area", "device_class", "device_model")
        )
        words = one(given, "words", text) or ""
        return DeviceFilter(words, sites, areas, classes, models, many(given, "state", word_of(ServiceStateKind)))


class Device(Resource):
    roles = {"GET": STAFF}

    @extend_schema(
        description="One device on the day.",
        parameters=[AS_OF, KNOWN],
        responses={200: DeviceSerializer, **problem_responses()},
    )
    def get(self, request: Request, device: int) -> Response:
        asked = self.asked(request)
        found = one_device(device, as_of=asked.as_of, known=asked.known, today=asked.today, actor=asked.actor)
        if found is None:
            raise Http404
        return Response(DeviceSerializer(found).data)


def _after(asked: Asked) -> int | None:
    return int(asked.after[0]) if asked.after else None
