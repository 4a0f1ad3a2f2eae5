"""A figure with everything that a page about it shows: its report, the months before it, every miss and what is known
of each. One reading of the standings."""

import datetime as dt
from collections.abc import Mapping
from dataclasses import dataclass

from pmcore.engines.records import Actor
from pmcore.engines.vocabulary import Counted, Grouping
from pmcore.queries.asked import check_asked, sites_allowed
from pmcore.queries.compliance import ComplianceFilter, ComplianceReport, report_of
from pmcore.queries.compliance_months import MonthOfFigure, months_of, whole_months
from pmcore.queries.compliance_rows import DueRow, rows_of
from pmcore.queries.device_places import DevicePlace, places_of
from pmcore.queries.miss_evidence import Evidence, evidence_of
from pmcore.queries.read_standings import standings_between
from pmcore.queries.standing_catalogue import catalogue

_MISSED = (Counted.MET_LATE, Counted.REASON_RECORDED, Counted.NO_REASON)


@dataclass(frozen=True, slots=True)
class CompliancePage:
    """`months`: up to the one in which the period ends, oldest first; `misses`: whatever was not met, and by its id
    what the record says of it; `places`: where the devices of the report's lists stand."""

    report: ComplianceReport
    months: tuple[MonthOfFigure, ...]
    misses: tuple[DueRow, ...]
    evidence: Mapping[int, Evidence]
    places: Mapping[int, DevicePlace]


def compliance_page(
    asked: ComplianceFilter,
    *,
    months: int,
    as_of: dt.date,
    known: int,
    today: dt.date,
    actor: Actor,
    group_by: Grouping,
) -> CompliancePage:
    """A fixed number of statements. `months` that are no part of the period add nothing to its figures.

    Raises AsOfAhead, KnownBeyond, OutsideYourSites.
    """
    check_asked(as_of=as_of, known=known, today=today)
    sites = sites_allowed(actor, asked.sites)
    facts, whole = catalogue(known), whole_months(asked, months)
    begins_on = min(whole.starts_on, asked.starts_on)
    read = standings_between(begins_on, whole.ends_on, as_of=as_of, catalogue=facts)
    report = report_of(asked, read, facts, as_of=as_of, sites=sites, group_by=group_by)
    misses = tuple(rows_of(asked, read, as_of=as_of, known=known, sites=sites, counted=_MISSED))
    return CompliancePage(
        report=report,
        months=months_of(whole, read, as_of=as_of, sites=sites),
        misses=misses,
        evidence=evidence_of([row.due_inspection for row in misses], as_of=as_of, known=known),
        places=places_of(report.labels.keys(), on=as_of, known=known),
    )
