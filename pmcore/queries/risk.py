"""How equipment is scored, and what the scores and people's words make of a device class or a device."""

import datetime as dt
from collections import defaultdict
from collections.abc import Mapping
from dataclasses import dataclass

from pmcore.engines.risk import RiskWord, UnscoredFactor, risk_class_on, score, scored_class
from pmcore.engines.timeline import Timeline, timelines
from pmcore.engines.vocabulary import RiskClass
from pmcore.models import (
    ClassDetails,
    DeviceIdentity,
    Entry,
    ModelDetails,
    RiskAssessment,
    RiskOverride,
    RiskPoints,
    RiskScore,
    RiskTableValues,
)

Points = dict[tuple[str, str], int]


@dataclass(frozen=True, slots=True)
class Scoring:
    """A table of risk on a day: the points of each (factor, level), and the sum from which equipment is high-risk."""

    points: Points
    high_risk_from: int


@dataclass(frozen=True, slots=True)
class RiskFacts:
    """As known at a size of the history. `words`: of each device class what is said of it, in order of days."""

    known: int
    tables: dict[int, Timeline[Scoring]]
    life_support: dict[int, Timeline[bool | None]]
    words: dict[int, list[RiskWord]]

    def points(self, table: int, on: dt.date) -> Points:
        """Of an unknown table: none."""
        scoring = self.tables[table].from_the_first_on(on) if table in self.tables else None
        return scoring.points if scoring else {}

    def would_score(self, device_class: int, table: int, levels: Mapping[str, str], on: dt.date) -> RiskClass:
        """A level without points counts as the gravest, as does an unknown table: nobody slips through a gap."""
        scoring = self.tables[table].from_the_first_on(on) if table in self.tables else None
        supports_life = self.life_support[device_class].on(on) if device_class in self.life_support else None
        try:
            total = score(scoring.points, levels) if scoring else 0
            high_risk_from = scoring.high_risk_from if scoring else 0
        except UnscoredFactor:
            total = high_risk_from = 0
        return scored_class(total, high_risk_from, life_support=bool(supports_life))

    def of_class(self, device_class: int, on: dt.date) -> RiskClass:
        return risk_class_on(self.words.get(device_class, ()), on)

    def of_device(self, device: int, on: dt.date) -> RiskClass:
        return self.of_devices({device: self._class_of(device, on)}, on)[device]

    def scored(self, device: int, on: dt.date) -> RiskClass:
        """What the score of its class says of the device."""
        return self.of_class(self._class_of(device, on), on)

    def of_devices(self, classes: Mapping[int, int | None], on: dt.date) -> dict[int, RiskClass]:
        """Of each device, given with its class: two statements."""
        overrides = RiskOverride.objects.known(self.known).filter(device__among=classes)
        moments = dict(Entry.objects.filter(seq__in=overrides.values("entry")).values_list("seq", "at"))
        words: dict[int, list[RiskWord]] = defaultdict(list)
        rows = overrides.order_by("from_on", "id").values_list("device_id", "from_on", "entry", "risk_class")
        for device, from_on, entry, word in rows:
            said = None if word is None else RiskClass(word)
            words[device].append(RiskWord(from_on, moments[entry].date(), said))
        return {
            device: risk_class_on(words[device], on, otherwise=self.of_class(device_class or 0, on))
            for device, device_class in classes.items()
        }

    def _class_of(self, device: int, on: dt.date) -> int:
        model = DeviceIdentity.objects.known(self.known).filter(device=device).values("device_model")
        described = ModelDetails.objects.known(self.known).on(on).filter(device_model__in=model)
        return described.values_list("device_class_id", flat=True).first() or 0


def risk_facts(known: int) -> RiskFacts:
    """Six statements, however many devices there are."""
    supports = ClassDetails.objects.known(known).order_by("from_on", "id")
    life_support = timelines(supports.values_list("device_class_id", "from_on", "life_support"))
    facts = RiskFacts(known, _tables(known), life_support, defaultdict(list))
    for device_class, timeline in life_support.items():
        facts.words[device_class] += [
            RiskWord(from_on, from_on, RiskClass.LIFE_SUPPORT) for from_on, supports_life in timeline if supports_life
        ]
    _add_assessments(facts)
    for words in facts.words.values():
        words.sort(key=lambda word: word.from_on)
    return facts


def _add_assessments(facts: RiskFacts) -> None:
    levels: dict[int, dict[str, str]] = defaultdict(dict)
    scores = RiskScore.objects.known(facts.known).values_list("assessment_id", "factor", "level")
    for assessment, factor, level in scores:
        levels[assessment][factor] = level
    rows = RiskAssessment.objects.known(facts.known).order_by("from_on", "id")
    moments = dict(Entry.objects.filter(seq__in=rows.order_by().values("entry")).values_list("seq", "at"))
    columns = ("device_class_id", "from_on", "table_id", "id", "entry")
    for device_class, from_on, table, assessment, entry in rows.values_list(*columns):
        becomes = facts.would_score(device_class, table, levels[assessment], from_on)
        facts.words[device_class].append(RiskWord(from_on, moments[entry].date(), becomes))


def _tables(known: int) -> dict[int, Timeline[Scoring]]:
    points: dict[int, Points] = defaultdict(dict)
    lines = RiskPoints.objects.known(known).values_list("values_id", "factor", "level", "points")
    for values, factor, level, worth in lines:
        points[values][factor, level] = worth
    said = RiskTableValues.objects.known(known).order_by("from_on", "id")
    return timelines(
        (table, from_on, Scoring(points[values], high_risk_from))
        for table, from_on, high_risk_from, values in said.values_list("table_id", "from_on", "high_risk_from", "id")
    )
