"""Due inspections: what is to be done, and one of it."""

import datetime as dt

from api.documented import DAY, WHEN, WORDS, Parameter, in_the_path, one_of, several
from api.serializers import serializer_of
from api.views import Found, ListView, OneView, When
from pmcore.engines.vocabulary import DueState, RiskClass
from pmcore.queries.due_asked import due_filter
from pmcore.queries.due_list import DueFilter, DueItem, Key, due_items, due_page
from pmcore.queries.parameters import Parameters

_IDS = 10**12


class DueInspections(ListView):
    resource = "due-inspections"
    says = {"GET": "Lists what is to be done at your sites, or was, in order of closing day; a provider's own alone."}
    serializer = serializer_of(DueItem)
    period = ("closes_from", "closes_to")
    filters = (
        Parameter("week", "A day of the week whose Sunday is the last closing day.", DAY),
        Parameter("closes_from", "The first closing day; today with what is overdue, where nothing is said.", DAY),
        Parameter("closes_to", "The last closing day.", DAY),
        Parameter("opens_from", "The first day on which windows open.", DAY),
        Parameter("opens_to", "The last day on which windows open.", DAY),
        several("site", "Only at these sites, by id."),
        several("area", "Only in these areas, by id."),
        several("device_class", "Only of these device classes, by id."),
        several("risk_class", "Only of these risk classes.", one_of(RiskClass)),
        several("state", "Only those in one of these states; else what is to be done.", one_of(DueState)),
        Parameter("given_to", "Only what this person, by id, is to do, or `nobody`.", WORDS),
        Parameter("words", "A part of the tag or serial number.", WORDS),
    )

    def read(self, asked: Parameters) -> DueFilter:
        return due_filter(asked)

    def page(self, chosen: DueFilter, when: When, after: int | None, limit: int) -> Found:
        found = due_page(chosen, as_of=when.as_of, known=when.known, actor=self.actor, after=_key(after), limit=limit)
        return found.rows, _number(found.next_after)


class DueInspection(OneView):
    resource = "due-inspection"
    says = {"GET": "Tells of one due inspection at your sites what has become of it and who is to do it."}
    serializer = serializer_of(DueItem)
    parameters = (in_the_path("due", "The id of the due inspection."), *WHEN)

    def days_of(self, found: DueItem) -> list[dt.date]:
        return [found.closes_on]

    def find(self, when: When, **key: int) -> DueItem | None:
        found = due_items([key["due"]], as_of=when.as_of, known=when.known, actor=self.actor)
        return found[0] if found else None


def _number(key: Key | None) -> int | None:
    """The closing day and the id as one number, in the order of the list."""
    return None if key is None else key[0].toordinal() * _IDS + key[1]


def _key(number: int | None) -> Key | None:
    if number is None:
        return None
    day, due = divmod(number, _IDS)
    return dt.date.fromordinal(day), due
