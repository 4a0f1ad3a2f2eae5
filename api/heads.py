"""Signed heads of the history."""

from api.serializers import serializer_of
from api.views import Found, ListView, When
from pmcore.queries.parameters import Parameters
from pmcore.queries.signed_heads import HeadTold, heads_page


class Heads(ListView):
    resource = "heads"
    says = {"GET": "Lists the heads of the history that were signed by a day, in the order in which they were signed."}
    serializer = serializer_of(HeadTold)

    def read(self, asked: Parameters) -> None:
        return None

    def page(self, chosen: None, when: When, after: int | None, limit: int) -> Found:
        found = heads_page(as_of=when.as_of, known=when.known, after=after, limit=limit)
        return found.records, found.after
