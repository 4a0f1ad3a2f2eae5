"""Sites."""

from api.serializers import serializer_of
from api.views import Found, ListView, When
from pmcore.queries.parameters import Parameters
from pmcore.queries.place_pages import SiteRecord, sites_page


class Sites(ListView):
    resource = "sites"
    says = {"GET": "Lists your sites as they are described on a day."}
    serializer = serializer_of(SiteRecord)

    def read(self, asked: Parameters) -> None:
        """There is nothing to choose."""

    def page(self, chosen: None, when: When, after: int | None, limit: int) -> Found:
        found = sites_page(as_of=when.as_of, known=when.known, actor=self.actor, after=after, limit=limit)
        return found.records, found.after
