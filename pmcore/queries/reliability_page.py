"""Everything that a page about reliability shows, from one reading: the rates, what stands out, and two groups that
were chosen to be compared."""

import datetime as dt
from dataclasses import dataclass

from pmcore.engines.records import Actor
from pmcore.engines.vocabulary import RateGrouping
from pmcore.queries.reliability import ReliabilityReport, observe, report_of
from pmcore.queries.reliability_compared import ComparisonReport, Pair, comparison_of
from pmcore.queries.reliability_filter import ReliabilityFilter
from pmcore.queries.reliability_names import Names, names_known
from pmcore.queries.reliability_standouts import StandoutsReport, standouts_of


@dataclass(frozen=True, slots=True)
class ReliabilityPage:
    report: ReliabilityReport
    screened: StandoutsReport
    comparison: ComparisonReport | None
    names: Names


def reliability_page(
    asked: ReliabilityFilter,
    *,
    group_by: RateGrouping,
    pair: Pair | None,
    as_of: dt.date,
    known: int,
    today: dt.date,
    actor: Actor,
) -> ReliabilityPage:
    """A fixed number of statements. Raises BadParameters for a group that there is not, AsOfAhead, KnownBeyond,
    OutsideYourSites."""
    seen = observe(asked, as_of=as_of, known=known, today=today, actor=actor)
    names = names_known(known)
    comparison = None if pair is None else comparison_of(seen, pair, names)
    return ReliabilityPage(report_of(seen, names, group_by), standouts_of(seen, names), comparison, names)
