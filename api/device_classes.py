"""Device classes."""

from api.serializers import serializer_of
from api.views import Found, ListView, When
from pmcore.queries.catalogue_pages import ClassRecord, classes_page
from pmcore.queries.parameters import Parameters


class DeviceClasses(ListView):
    resource = "device-classes"
    says = {"GET": "Lists the device classes with the risk class that each has on a day."}
    serializer = serializer_of(ClassRecord)

    def read(self, asked: Parameters) -> None:
        """There is nothing to choose."""

    def page(self, chosen: None, when: When, after: int | None, limit: int) -> Found:
        found = classes_page(as_of=when.as_of, known=when.known, after=after, limit=limit)
        return found.records, found.after
