"""The rows behind a figure: one line for each due inspection that it counts."""

import datetime as dt
from collections.abc import Collection
from dataclasses import dataclass

import numpy as np

from pmcore.engines.compliance import COUNTED, counted_on
from pmcore.engines.records import Actor
from pmcore.engines.vocabulary import Counted, PlanBasis, RiskClass
from pmcore.queries.asked import check_asked, sites_allowed
from pmcore.queries.compliance import ComplianceFilter, chosen_in_period
from pmcore.queries.device_labels import DeviceLabel, labels_of
from pmcore.queries.group_names import area_names, class_names, plan_names
from pmcore.queries.read_standings import standings_between
from pmcore.queries.standing_catalogue import catalogue
from pmcore.queries.standing_rows import BASES, RISK_CLASSES, Standings


@dataclass(frozen=True, slots=True)
class DueRow:
    """A due inspection as it counts on the day asked for. Names are the newest known; days to come are None."""

    due_inspection: int
    device: DeviceLabel
    device_class: str
    site: str
    area: str
    risk_class: RiskClass
    plan: str
    basis: PlanBasis
    opens_on: dt.date
    due_on: dt.date
    closes_on: dt.date
    counted: Counted
    completed_on: dt.date | None
    recorded_on: dt.date | None


def compliance_rows(
    asked: ComplianceFilter, *, as_of: dt.date, known: int, today: dt.date, actor: Actor
) -> list[DueRow]:
    """Every line, in order of closing days; a fixed number of statements.

    Raises AsOfAhead, KnownBeyond, OutsideYourSites.
    """
    check_asked(as_of=as_of, known=known, today=today)
    sites = sites_allowed(actor, asked.sites)
    read = standings_between(asked.starts_on, asked.ends_on, as_of=as_of, catalogue=catalogue(known))
    return rows_of(asked, read, as_of=as_of, known=known, sites=sites)


def rows_of(
    asked: ComplianceFilter,
    read: Standings,
    *,
    as_of: dt.date,
    known: int,
    sites: frozenset[int] | None,
    counted: Collection[Counted] = tuple(Counted),
) -> list[DueRow]:
    """The lines from standings that hold the period, those that count as one of `counted`; `sites`: those allowed."""
    chosen = chosen_in_period(read, asked, sites)
    codes = counted_on(chosen, as_of)
    wanted = np.isin(codes, [COUNTED.index(word) for word in counted])
    chosen, words = chosen.where(wanted), [COUNTED[code] for code in codes[wanted]]
    labels = labels_of(set(chosen.device.tolist()), on=as_of, known=known)
    areas, classes, plans = area_names(known), class_names(known), plan_names(known)
    rows = []
    for at, word in enumerate(words):
        site, area = areas.get(int(chosen.area[at]), ("", ""))
        rows.append(
            DueRow(
                due_inspection=int(chosen.due_inspection[at]),
                device=labels[int(chosen.device[at])],
                device_class=classes.get(int(chosen.device_class[at]), ""),
                site=site,
                area=area,
                risk_class=RISK_CLASSES[chosen.risk_class[at]],
                plan=plans.get(int(chosen.plan[at]), ""),
                basis=BASES[chosen.basis[at]],
                opens_on=chosen.opens_on[at].item(),
                due_on=chosen.due_on[at].item(),
                closes_on=chosen.closes_on[at].item(),
                counted=word,
                completed_on=_by(chosen.completed_on[at].item(), as_of),
                recorded_on=_by(chosen.recorded_on[at].item(), as_of),
            )
        )
    return sorted(rows, key=lambda row: (row.closes_on, row.due_inspection))


def _by(day: dt.date | None, as_of: dt.date) -> dt.date | None:
    return day if day is not None and day <= as_of else None
