"""Device models and their revisions."""

from api.documented import several
from api.serializers import serializer_of
from api.views import Found, ListView, When
from pmcore.queries.catalogue_pages import ModelRecord, ModelsFilter, models_page
from pmcore.queries.parameters import Parameters, a_number


class DeviceModels(ListView):
    resource = "device-models"
    says = {"GET": "Lists the makers' models with their revisions as they are described on a day."}
    serializer = serializer_of(ModelRecord)
    filters = (several("device_class", "Only models of these device classes, by id."),)

    def read(self, asked: Parameters) -> ModelsFilter:
        return ModelsFilter(device_classes=asked.many("device_class", a_number))

    def page(self, chosen: ModelsFilter, when: When, after: int | None, limit: int) -> Found:
        found = models_page(chosen, as_of=when.as_of, known=when.known, after=after, limit=limit)
        return found.records, found.after
