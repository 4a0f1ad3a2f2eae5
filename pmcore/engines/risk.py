"""The risk class of a device on a day: scored for its class, overridden by a person, never lowered backwards."""

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from datetime import date

from pmcore.engines.vocabulary import RiskClass

RISK_ORDER = (RiskClass.OTHER, RiskClass.HIGH_RISK, RiskClass.LIFE_SUPPORT)


class UnscoredFactor(ValueError):
    """The assessment gives a level that the table has no points for."""


@dataclass(frozen=True, slots=True)
class RiskWord:
    """From this day on the risk class is this one; None: the word is taken back. `recorded_on`: when it was written."""

    from_on: date
    recorded_on: date
    risk_class: RiskClass | None


def score(points: Mapping[tuple[str, str], int], levels: Mapping[str, str]) -> int:
    """The sum of the points of each factor's level. Raises UnscoredFactor."""
    missing = [f"{factor}: {level}" for factor, level in levels.items() if (factor, level) not in points]
    if missing:
        raise UnscoredFactor(f"the table has no points for {', '.join(missing)}")
    return sum(points[factor, level] for factor, level in levels.items())


def scored_class(total: int, high_risk_from: int, *, life_support: bool) -> RiskClass:
    """What supports life is in its own class, whatever its score."""
    if life_support:
        return RiskClass.LIFE_SUPPORT
    return RiskClass.HIGH_RISK if total >= high_risk_from else RiskClass.OTHER


def risk_class_on(words: Sequence[RiskWord], day: date, otherwise: RiskClass = RiskClass.OTHER) -> RiskClass:
    """The class that the words, in order of their days, say for `day`.

    A word that lowers the class counts from the day it was written at the earliest: it looks forward only.
    """
    said: RiskClass | None = None
    for word in words:
        if word.from_on > day:
            break
        becomes = word.risk_class or otherwise
        lowers = RISK_ORDER.index(becomes) < RISK_ORDER.index(said or otherwise)
        if not lowers or word.recorded_on <= day:
            said = word.risk_class
    return said or otherwise
