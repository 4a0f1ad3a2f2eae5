"""What standings need to know of plans, models, risk and sites: the same for every device, and read once."""

import datetime as dt
from collections import defaultdict
from collections.abc import Iterable
from dataclasses import dataclass
from typing import Any

from pmcore.engines.due_dates import IntervalRule, Window
from pmcore.engines.risk import RiskWord, UnscoredFactor, score, scored_class
from pmcore.engines.timeline import Timeline
from pmcore.engines.vocabulary import Basis, PlanBasis, RiskClass, Unit
from pmcore.engines.working_days import SATURDAY_AND_SUNDAY
from pmcore.models import (
    ClassDetails,
    CoveredProcedure,
    Entry,
    ModelDetails,
    PlanTerms,
    RiskAssessment,
    RiskPoints,
    RiskScore,
    RiskTableValues,
    SettingValue,
    SiteHoliday,
    SiteWeek,
)
from pmcore.queries.figure_settings import DEFAULTS
from pmcore.queries.site_days import WorkingCalendar, Zones


@dataclass(frozen=True, slots=True)
class PlanOnDay:
    """What standings ask of a plan's terms. The rule's window plays no part: windows stand on the due inspections."""

    rule: IntervalRule
    basis: PlanBasis


@dataclass(frozen=True, slots=True)
class Catalogue:
    """As known at a size of the history. `classes`: of each model its device class; `risk`: of each class what its
    assessments say; `covers`: of each procedure version the procedures that it also does."""

    known: int
    plans: dict[int, Timeline[PlanOnDay]]
    classes: dict[int, Timeline[int]]
    risk: dict[int, list[RiskWord]]
    covers: dict[int, frozenset[int]]
    zones: Zones
    calendars: dict[int, WorkingCalendar]
    settings: dict[str, Timeline[int]]

    def calendar(self, site: int | None) -> WorkingCalendar:
        return self.calendars.get(site or 0) or WorkingCalendar.usual()

    def setting(self, name: str, day: dt.date) -> int:
        said = self.settings[name].on(day) if name in self.settings else None
        return DEFAULTS[name].value if said is None else said

    def day_at(self, site: int | None, moment: dt.datetime) -> dt.date:
        """The site's day at the moment; in UTC where nobody said where that is."""
        return (self.zones.day_at(site, moment) if site else None) or moment.astimezone(dt.UTC).date()


def catalogue(known: int) -> Catalogue:
    """A dozen statements, however long the history is."""
    return Catalogue(
        known=known,
        plans=_plans(known),
        classes=_timelines(ModelDetails.objects.known(known), "device_model_id", "device_class_id"),
        risk=_risk(known),
        covers=_covers(known),
        zones=Zones(known),
        calendars=_calendars(known),
        settings=_settings(known),
    )


def timelines(rows: Iterable[tuple[int, dt.date, Any]]) -> dict[int, Timeline[Any]]:
    """Of rows (key, first day, value) in order of their days: a timeline for each key."""
    found: dict[int, list[tuple[dt.date, Any]]] = defaultdict(list)
    for key, from_on, value in rows:
        found[key].append((from_on, value))
    return {key: Timeline(changes) for key, changes in found.items()}


def _timelines(facts: Any, key: str, value: str) -> dict[int, Timeline[Any]]:
    return timelines(facts.order_by("from_on", "id").values_list(key, "from_on", value))


def _plans(known: int) -> dict[int, Timeline[PlanOnDay]]:
    rows = PlanTerms.objects.known(known).order_by("from_on", "id")
    columns = ("plan_id", "from_on", "every", "unit", "counts_from", "basis")
    return timelines(
        (plan, from_on, PlanOnDay(_rule(every, unit, counts_from), PlanBasis(basis)))
        for plan, from_on, every, unit, counts_from, basis in rows.values_list(*columns)
    )


def _rule(every: int, unit: str, counts_from: str) -> IntervalRule:
    return IntervalRule(every, Unit(unit), Basis(counts_from), Window.days(0, 0))


def _risk(known: int) -> dict[int, list[RiskWord]]:
    """Of each class its words in order. Whatever supports life is said by the class, from the first assessment on."""
    assessments = RiskAssessment.objects.known(known)
    scores: dict[int, dict[str, str]] = defaultdict(dict)
    levels = RiskScore.objects.known(known).values_list("assessment_id", "factor", "level")
    for assessment, factor, level in levels:
        scores[assessment][factor] = level
    tables = _tables(known)
    supports = _timelines(ClassDetails.objects.known(known), "device_class_id", "life_support")
    moments = dict(Entry.objects.filter(seq__in=assessments.values("entry")).values_list("seq", "at"))
    found: dict[int, list[RiskWord]] = defaultdict(list)
    for device_class, timeline in supports.items():
        found[device_class] = [
            RiskWord(from_on, from_on, RiskClass.LIFE_SUPPORT) for from_on, supports_life in timeline if supports_life
        ]
    columns = ("device_class_id", "from_on", "table_id", "id", "entry")
    for device_class, from_on, table, assessment, entry in assessments.order_by("from_on", "id").values_list(*columns):
        life_support = bool(device_class in supports and supports[device_class].on(from_on))
        values = tables[table].from_the_first_on(from_on) if table in tables else None
        if values is not None:
            high_risk_from, points = values
            becomes = _scored(points, scores[assessment], high_risk_from, life_support=life_support)
            found[device_class].append(RiskWord(from_on, moments[entry].date(), becomes))
    return {device_class: sorted(words, key=lambda word: word.from_on) for device_class, words in found.items()}


def _scored(
    points: dict[tuple[str, str], int], levels: dict[str, str], high_risk_from: int, *, life_support: bool
) -> RiskClass:
    """A level that the table has no points for counts as the gravest: nobody may slip down through a gap."""
    try:
        return scored_class(score(points, levels), high_risk_from, life_support=life_support)
    except UnscoredFactor:
        return scored_class(high_risk_from, high_risk_from, life_support=life_support)


def _tables(known: int) -> dict[int, Timeline[tuple[int, dict[tuple[str, str], int]]]]:
    points: dict[int, dict[tuple[str, str], int]] = defaultdict(dict)
    rows = RiskPoints.objects.known(known).values_list("values_id", "factor", "level", "points")
    for values, factor, level, worth in rows:
        points[values][factor, level] = worth
    said = RiskTableValues.objects.known(known).order_by("from_on", "id")
    return timelines(
        (table, from_on, (high_risk_from, points[values]))
        for table, from_on, high_risk_from, values in said.values_list("table_id", "from_on", "high_risk_from", "id")
    )


def _covers(known: int) -> dict[int, frozenset[int]]:
    found: dict[int, set[int]] = defaultdict(set)
    rows = CoveredProcedure.objects.known(known).values_list("sheet__version_id", "procedure_id")
    for version, procedure in rows:
        found[version].add(procedure)
    return {version: frozenset(procedures) for version, procedures in found.items()}


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


def _settings(known: int) -> dict[str, Timeline[int]]:
    rows = SettingValue.objects.known(known).filter(setting__name__in=DEFAULTS).order_by("from_on", "id")
    found: dict[str, list[tuple[dt.date, int]]] = defaultdict(list)
    for name, from_on, value in rows.values_list("setting__name", "from_on", "value"):
        found[name].append((from_on, int(value)))
    return {name: Timeline(changes) for name, changes in found.items()}
