"""The parameters of a compliance figure, as an address gives them: the same words for page and interface."""

import datetime as dt
from dataclasses import dataclass

from pmcore.engines.vocabulary import Grouping, PlanBasis, RiskClass
from pmcore.queries.compliance import ComplianceFilter
from pmcore.queries.parameters import BadParameters, Given, Parameters, a_day, a_number, a_word_of

__all__ = ["BadParameters", "ComplianceAsked", "parse"]

SINGLE = ("period", "from", "to", "as_of", "known", "group_by", "since")
REPEATED = ("site", "area", "device_class", "risk_class", "basis")


@dataclass(frozen=True, slots=True)
class ComplianceAsked:
    """What was asked for; None where nothing was said. `since`: the earlier size whose figure is compared."""

    filter: ComplianceFilter
    as_of: dt.date | None
    known: int | None
    group_by: Grouping | None
    since: int | None


def parse(given: Given, *, period: tuple[dt.date, dt.date] | None = None) -> ComplianceAsked:
    """`period`: the first and last day where none was asked for. Raises BadParameters."""
    return read(Parameters(given, (*SINGLE, *REPEATED)), period=period)


def read(asked: Parameters, *, period: tuple[dt.date, dt.date] | None = None) -> ComplianceAsked:
    """The same from parameters of which others may have been read before. Raises BadParameters for whatever was wrong
    with any of them."""
    starts_on, ends_on = asked.period(period)
    sites, areas, classes = (asked.many(name, a_number) for name in ("site", "area", "device_class"))
    risk_classes = asked.many("risk_class", a_word_of(RiskClass))
    bases = asked.many("basis", a_word_of(PlanBasis))
    as_of, known, since = asked.one("as_of", a_day), asked.one("known", a_number), asked.one("since", a_number)
    group_by = asked.one("group_by", a_word_of(Grouping))
    asked.refuse()
    chosen = ComplianceFilter(starts_on, ends_on, sites, areas, classes, risk_classes, bases)
    return ComplianceAsked(chosen, as_of, known, group_by, since)
