"""The compliance figure: how many of the inspections whose windows closed in a period were met, and what stands beside.

One function answers page, command and interface alike. Everything is counted from standings, so that a figure as of any
day comes from the same rows.
"""

import datetime as dt
from collections.abc import Mapping
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from pmcore.engines.compliance import Share, Tally, counted_on, devices_met, tally, tally_by
from pmcore.engines.due_status import STATES, states_on
from pmcore.engines.records import Actor
from pmcore.engines.vocabulary import DueState, Grouping, PlanBasis, RiskClass
from pmcore.queries.arrivals import Arrival, arrivals_between
from pmcore.queries.asked import BadPeriod, check_asked, sites_allowed
from pmcore.queries.coverage import InInventory, Places, inventory_on
from pmcore.queries.device_labels import DeviceLabel, labels_of
from pmcore.queries.doubts import Doubt, doubts_on
from pmcore.queries.group_names import group_names
from pmcore.queries.read_standings import standings_between
from pmcore.queries.standing_catalogue import Catalogue, catalogue
from pmcore.queries.standing_lists import Lists, lists_of
from pmcore.queries.standing_rows import BASES, RISK_CLASSES, Standings

Truth = NDArray[np.bool_]


@dataclass(frozen=True, slots=True)
class ComplianceFilter:
    """Windows that closed from `starts_on` to `ends_on`, both included. None: all of them."""

    starts_on: dt.date
    ends_on: dt.date
    sites: frozenset[int] | None = None
    areas: frozenset[int] | None = None
    device_classes: frozenset[int] | None = None
    risk_classes: frozenset[RiskClass] | None = None
    bases: frozenset[PlanBasis] | None = None

    def __post_init__(self) -> None:
        if self.starts_on > self.ends_on:
            raise BadPeriod(f"The period begins on {self.starts_on}, after its end on {self.ends_on}.")


@dataclass(frozen=True, slots=True)
class Group:
    """`key`: the id of a site, area or class (0: nobody said), a word, or a month as 2026-09; `label`: its name."""

    key: int | str
    label: str
    tally: Tally


@dataclass(frozen=True, slots=True)
class Coverage:
    """Devices with a plan or a signed "none needed" ÷ devices in the inventory; those with neither. Risk class and
    basis belong to a due inspection and narrow no inventory."""

    share: Share
    uncovered: tuple[InInventory, ...]


@dataclass(frozen=True, slots=True)
class ComplianceReport:
    """`devices`: devices with everything met ÷ devices with anything due. `census`: devices overdue on `as_of` ÷
    devices under a plan, at the places asked for, whatever the period, risk class and basis; `doubts`: inspections in
    doubt on that day, whatever the period. `labels`: every
    device that stands by name anywhere in the report.
    """

    asked: ComplianceFilter
    as_of: dt.date
    known: int
    tally: Tally
    devices: Share
    groups: tuple[Group, ...]
    coverage: Coverage
    census: Share
    arrivals: tuple[Arrival, ...]
    lists: Lists
    doubts: tuple[Doubt, ...]
    labels: Mapping[int, DeviceLabel]


def compliance(
    asked: ComplianceFilter,
    *,
    as_of: dt.date,
    known: int,
    today: dt.date,
    actor: Actor,
    group_by: Grouping | None = None,
) -> ComplianceReport:
    """The figure as of a day, as known at a size of the history: a fixed number of statements.

    Raises AsOfAhead, KnownBeyond, OutsideYourSites.
    """
    check_asked(as_of=as_of, known=known, today=today)
    sites = sites_allowed(actor, asked.sites)
    facts = catalogue(known)
    read = standings_between(asked.starts_on, asked.ends_on, as_of=as_of, catalogue=facts)
    return report_of(asked, read, facts, as_of=as_of, sites=sites, group_by=group_by)


def report_of(
    asked: ComplianceFilter,
    read: Standings,
    facts: Catalogue,
    *,
    as_of: dt.date,
    sites: frozenset[int] | None,
    group_by: Grouping | None,
) -> ComplianceReport:
    """The report from standings that hold the period, and whatever is overdue on the day; `sites`: those allowed."""
    known = facts.known
    overdue = set(read.device[states_on(read, as_of) == STATES.index(DueState.OVERDUE)].tolist())
    standings = chosen_in_period(read, asked, sites)
    counted = counted_on(standings, as_of)
    inventory = inventory_on(as_of, known, Places(sites, asked.areas, asked.device_classes), among=overdue)
    arrivals = _arrivals(asked, sites, as_of, known)
    lists = lists_of(standings, counted, as_of, facts)
    doubts = tuple(each for each in doubts_on(as_of, known) if sites is None or each.site in sites)
    named = (
        lists.devices
        | {each.device for each in doubts}
        | {each.device for each in inventory.uncovered}
        | {each.device for each in arrivals}
    )
    return ComplianceReport(
        asked=asked,
        as_of=as_of,
        known=known,
        tally=tally(counted),
        devices=devices_met(counted, standings.device),
        groups=_groups(group_by, standings, counted, known),
        coverage=Coverage(inventory.covered, inventory.uncovered),
        census=Share(len(inventory.planned_among), inventory.planned),
        arrivals=arrivals,
        lists=lists,
        doubts=doubts,
        labels=labels_of(named, on=as_of, known=known),
    )


def chosen_in_period(read: Standings, asked: ComplianceFilter, sites: frozenset[int] | None) -> Standings:
    """The standings that the headline counts."""
    return read.where(_chosen(read, asked, sites) & _in_period(read, asked))


def _in_period(standings: Standings, asked: ComplianceFilter) -> Truth:
    closes_on = standings.closes_on
    inside: Truth = (closes_on >= np.datetime64(asked.starts_on, "D")) & (
        closes_on <= np.datetime64(asked.ends_on, "D")
    )
    return inside


def _chosen(standings: Standings, asked: ComplianceFilter, sites: frozenset[int] | None) -> Truth:
    risk = None if asked.risk_classes is None else [RISK_CLASSES.index(word) for word in asked.risk_classes]
    bases = None if asked.bases is None else [BASES.index(word) for word in asked.bases]
    chosen: Truth = np.ones(len(standings), np.bool_)
    for column, wanted in (
        (standings.site, sites),
        (standings.area, asked.areas),
        (standings.device_class, asked.device_classes),
        (standings.risk_class, risk),
        (standings.basis, bases),
    ):
        if wanted is not None:
            chosen &= np.isin(column, list(wanted))
    return chosen


def _groups(
    group_by: Grouping | None, standings: Standings, counted: NDArray[np.int8], known: int
) -> tuple[Group, ...]:
    if group_by is None:
        return ()
    months = standings.closes_on.astype("datetime64[M]").astype(np.int64)
    column = {
        Grouping.MONTH: months,
        Grouping.SITE: standings.site,
        Grouping.AREA: standings.area,
        Grouping.DEVICE_CLASS: standings.device_class,
        Grouping.RISK_CLASS: standings.risk_class,
        Grouping.BASIS: standings.basis,
    }[group_by]
    names = group_names(group_by, known)
    keyed = [(_key(group_by, value), found) for value, found in tally_by(counted, column).items()]
    return tuple(Group(key, names.get(key, str(key).replace("_", " ")), found) for key, found in keyed)


def _key(group_by: Grouping, value: int) -> int | str:
    match group_by:
        case Grouping.MONTH:
            return str(np.datetime64(value, "M"))
        case Grouping.RISK_CLASS:
            return str(RISK_CLASSES[value])
        case Grouping.BASIS:
            return str(BASES[value])
    return value


def _arrivals(asked: ComplianceFilter, sites: frozenset[int] | None, as_of: dt.date, known: int) -> tuple[Arrival, ...]:
    found = arrivals_between(asked.starts_on, asked.ends_on, as_of=as_of, known=known)
    return tuple(
        each
        for each in found
        if (sites is None or each.site in sites) and (asked.areas is None or each.area in asked.areas)
    )
