"""Areas: theatres, wards, stores and workshops."""

from api.documented import several
from api.serializers import serializer_of
from api.views import Found, ListView, When
from pmcore.queries.parameters import Parameters, a_number
from pmcore.queries.place_pages import AreaRecord, AreasFilter, areas_page


class Areas(ListView):
    resource = "areas"
    says = {"GET": "Lists the areas at your sites as they are described on a day."}
    serializer = serializer_of(AreaRecord)
    filters = (several("site", "Only the areas at these sites, by id."),)

    def read(self, asked: Parameters) -> AreasFilter:
        return AreasFilter(sites=asked.many("site", a_number))

    def page(self, chosen: AreasFilter, when: When, after: int | None, limit: int) -> Found:
        found = areas_page(chosen, as_of=when.as_of, known=when.known, actor=self.actor, after=after, limit=limit)
        return found.records, found.after
