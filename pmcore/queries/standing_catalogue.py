"""What standings need to know of plans, models, risk and sites: the same for every device, and read once."""

import datetime as dt
from collections import defaultdict
from dataclasses import dataclass
from typing import Any

from pmcore.engines.due_dates import IntervalRule, Window
from pmcore.engines.risk import RiskWord
from pmcore.engines.timeline import Timeline, timelines
from pmcore.engines.vocabulary import Basis, PlanBasis, Unit, WindowKind
from pmcore.engines.working_days import SATURDAY_AND_SUNDAY
from pmcore.models import (
    ModelDetails,
    PlanTerms,
    SiteHoliday,
    SiteWeek,
)
from pmcore.queries.figure_settings import FigureSettings
from pmcore.queries.procedures import Covering
from pmcore.queries.risk import risk_facts
from pmcore.queries.site_days import WorkingCalendar, Zones


@dataclass(frozen=True, slots=True)
class PlanOnDay:
    """What standings ask of a plan's terms. The rule has no window: windows stand on the due inspections."""

    rule: IntervalRule
    basis: PlanBasis
    window: WindowKind


@dataclass(frozen=True, slots=True)
class Catalogue:
    """As known at a size of the history. `classes`: of each model its device class; `risk`: of each class what its
    assessments say."""

    known: int
    plans: dict[int, Timeline[PlanOnDay]]
    classes: dict[int, Timeline[int]]
    risk: dict[int, list[RiskWord]]
    covering: Covering
    zones: Zones
    calendars: dict[int, WorkingCalendar]
    settings: FigureSettings

    def calendar(self, site: int | None) -> WorkingCalendar:
        return self.calendars.get(site or 0) or WorkingCalendar.usual()

    def day_at(self, site: int | None, moment: dt.datetime) -> dt.date:
        """The site's day at the moment; in UTC where nobody said where that is."""
        return (self.zones.day_at(site, moment) if site else None) or moment.astimezone(dt.UTC).date()


def catalogue(known: int) -> Catalogue:
    """A dozen statements, however long the history is."""
    return Catalogue(
        known=known,
        plans=_plans(known),
        classes=_timelines(ModelDetails.objects.known(known), "device_model_id", "device_class_id"),
        risk=risk_facts(known).words,
        covering=Covering(known),
        zones=Zones(known),
        calendars=_calendars(known),
        settings=FigureSettings(known),
    )


def _timelines(facts: Any, key: str, value: str) -> dict[int, Timeline[Any]]:
    return timelines(facts.order_by("from_on", "id").values_list(key, "from_on", value))


def _plans(known: int) -> dict[int, Timeline[PlanOnDay]]:
    rows = PlanTerms.objects.known(known).order_by("from_on", "id")
    columns = ("plan_id", "from_on", "every", "unit", "counts_from", "basis", "window")
    return timelines(
        (plan, from_on, PlanOnDay(_rule(every, unit, counts_from), PlanBasis(basis), WindowKind(window)))
        for plan, from_on, every, unit, counts_from, basis, window in rows.values_list(*columns)
    )


def _rule(every: int, unit: str, counts_from: str) -> IntervalRule:
    return IntervalRule(every, Unit(unit), Basis(counts_from), Window.days(0, 0))


def _calendars(known: int) -> dict[int, WorkingCalendar]:
    """The week as last set, and all holidays."""
    weeks = dict(SiteWeek.objects.known(known).order_by("from_on", "id").values_list("site_id", "working"))
    free: dict[int, set[dt.date]] = defaultdict(set)
    for site, day in SiteHoliday.objects.known(known).filter(working=False).values_list("site_id", "from_on"):
        free[site].add(day)
    return {site: WorkingCalendar(_weekend(weeks.get(site)), frozenset(free[site])) for site in {*weeks, *free}}


def _weekend(working: str | None) -> frozenset[int]:
    if working is None:
        return SATURDAY_AND_SUNDAY
    return frozenset(day for day, works in enumerate(working) if works == "0")
