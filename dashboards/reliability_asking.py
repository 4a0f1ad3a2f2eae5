"""From the address of a reliability page to its answer: one question, one query, remembered."""

import datetime as dt
from dataclasses import dataclass

from django.http import HttpRequest

from dashboards.access import Asking, asking
from dashboards.compliance_asking import given
from dashboards.remembered import remembered
from pmcore.engines.vocabulary import RateGrouping
from pmcore.queries.asked import AsOfAhead, KnownBeyond, OutsideYourSites
from pmcore.queries.head import head
from pmcore.queries.parameters import BadParameters
from pmcore.queries.reliability_asked import parse
from pmcore.queries.reliability_compared import Pair
from pmcore.queries.reliability_filter import ReliabilityFilter
from pmcore.queries.reliability_page import ReliabilityPage, reliability_page
from pmcore.queries.reliability_rows import Inputs, reliability_inputs

_FIELD = {AsOfAhead: "as_of", KnownBeyond: "known", OutsideYourSites: "site"}


@dataclass(frozen=True, slots=True)
class Question:
    """`known`: how many entries count; `size`: how many there are."""

    filter: ReliabilityFilter
    as_of: dt.date
    known: int
    group_by: RateGrouping
    pair: Pair | None
    size: int


def question(request: HttpRequest) -> Question:
    """What the address asks; by subsystem, of everything, where it says nothing. Raises BadParameters."""
    asked = parse(given(request.GET))
    size = head().size
    known = size if asked.known is None else asked.known
    grouping = asked.group_by or RateGrouping.SUBSYSTEM
    return Question(asked.filter, asked.as_of or asking(request).today, known, grouping, asked.pair, size)


def answer(asked: Question, found: Asking) -> ReliabilityPage:
    """Raises BadParameters: what the queries refuse stands beside its field too."""
    key = ("reliability", asked.filter, asked.as_of, asked.known, asked.group_by, asked.pair, found.actor.sites)

    def compute() -> ReliabilityPage:
        return reliability_page(
            asked.filter, group_by=asked.group_by, pair=asked.pair, as_of=asked.as_of, known=asked.known,
            today=found.today, actor=found.actor,
        )  # fmt: skip

    try:
        return remembered(key, compute)
    except tuple(_FIELD) as refused:
        raise BadParameters({_FIELD[type(refused)]: str(refused)}) from refused


def inputs(asked: Question, found: Asking) -> Inputs:
    """What the rates were computed from. Raises BadParameters."""
    try:
        return reliability_inputs(
            asked.filter, as_of=asked.as_of, known=asked.known, today=found.today, actor=found.actor
        )
    except tuple(_FIELD) as refused:
        raise BadParameters({_FIELD[type(refused)]: str(refused)}) from refused
