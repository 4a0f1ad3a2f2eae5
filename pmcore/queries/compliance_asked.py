"""The parameters of a compliance figure, as an address gives them: the same words for page and interface.

Everything that is wrong is said at once, by parameter; nothing is guessed and nothing unknown is passed over.
"""

import datetime as dt
import re
from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass, field
from enum import StrEnum
from typing import Any, TypeVar

from pmcore.engines.vocabulary import Grouping, PlanBasis, RiskClass
from pmcore.queries.asked import AskedRefused
from pmcore.queries.compliance import ComplianceFilter

SINGLE = ("period", "from", "to", "as_of", "known", "group_by", "since")
REPEATED = ("site", "area", "device_class", "risk_class", "basis")

_MONTH = re.compile(r"\d{4}-\d{2}")
_DAY = re.compile(r"\d{4}-\d{2}-\d{2}")
_NUMBER = re.compile(r"\d{1,18}")

_Value = TypeVar("_Value")


class BadParameters(AskedRefused):
    """`errors`: a sentence for each parameter that will not do, by its name."""

    def __init__(self, errors: Mapping[str, str]) -> None:
        super().__init__(" ".join(errors.values()))
        self.errors = dict(errors)


@dataclass(frozen=True, slots=True)
class ComplianceAsked:
    """What was asked for; None where nothing was said. `since`: the earlier size whose figure is compared."""

    filter: ComplianceFilter
    as_of: dt.date | None
    known: int | None
    group_by: Grouping | None
    since: int | None


def parse(given: Mapping[str, Sequence[str]], *, period: tuple[dt.date, dt.date] | None = None) -> ComplianceAsked:
    """Each parameter with the values it was given; `period`: the first and last day where none was asked for.

    Raises BadParameters.
    """
    reader = _Reader(given)
    starts_on, ends_on = reader.period(period)
    sites, areas, classes = (reader.many(name, _number) for name in ("site", "area", "device_class"))
    risk_classes = reader.many("risk_class", _word_of(RiskClass))
    bases = reader.many("basis", _word_of(PlanBasis))
    as_of, known, since = reader.one("as_of", _day), reader.one("known", _number), reader.one("since", _number)
    group_by = reader.one("group_by", _word_of(Grouping))
    reader.refuse()
    asked = ComplianceFilter(starts_on, ends_on, sites, areas, classes, risk_classes, bases)
    return ComplianceAsked(asked, as_of, known, group_by, since)


@dataclass
class _Reader:
    given: Mapping[str, Sequence[str]]
    errors: dict[str, str] = field(default_factory=dict)

    def __post_init__(self) -> None:
        for name in self.given.keys() - {*SINGLE, *REPEATED}:
            there = ", ".join((*SINGLE, *REPEATED))
            self.errors[name] = f"There is no parameter {name!r}; there are {there}."

    def one(self, name: str, read: Callable[[str], _Value]) -> _Value | None:
        values = self.given.get(name, ())
        if len(values) > 1:
            self.errors[name] = f"{name} is given {len(values)} times; say it once."
            return None
        return self._read(name, values[0], read) if values else None

    def many(self, name: str, read: Callable[[str], _Value]) -> frozenset[_Value] | None:
        """Given several times, or once with commas between."""
        texts = [text for value in self.given.get(name, ()) for text in value.split(",")]
        found = [self._read(name, text, read) for text in texts]
        return frozenset(each for each in found if each is not None) if texts else None

    def period(self, otherwise: tuple[dt.date, dt.date] | None) -> tuple[dt.date, dt.date]:
        """A month, or two days; both together, or one day alone, is no period."""
        nothing = (dt.date.min, dt.date.min)
        month, first, last = self.one("period", _month), self.one("from", _day), self.one("to", _day)
        named = {"period", "from", "to"} & self.given.keys()
        if named & self.errors.keys():
            return nothing
        match sorted(named):
            case ["period"]:
                return month or nothing
            case ["from", "to"] if first and last:
                if first > last:
                    self.errors["to"] = f"The period begins on {first}, after its end on {last}."
                    return nothing
                return first, last
            case [] if otherwise:
                return otherwise
        self.errors["period"] = "Say which period: a month as period=2026-09, or both from and to."
        return nothing

    def refuse(self) -> None:
        if self.errors:
            raise BadParameters(self.errors)

    def _read(self, name: str, text: str, read: Callable[[str], _Value]) -> _Value | None:
        try:
            return read(text)
        except ValueError as wrong:
            self.errors[name] = f"{name}: {wrong}"
            return None


def _day(text: str) -> dt.date:
    try:
        if _DAY.fullmatch(text):
            return dt.date.fromisoformat(text)
    except ValueError:
        pass
    raise ValueError(f"{text!r} is no date; write it as 2026-10-31.")


def _month(text: str) -> tuple[dt.date, dt.date]:
    if not _MONTH.fullmatch(text) or not 1 <= int(text[5:]) <= 12 or not 1 <= int(text[:4]) <= 9998:
        raise ValueError(f"{text!r} is no month; write it as 2026-09.")
    first = dt.date(int(text[:4]), int(text[5:]), 1)
    return first, (first + dt.timedelta(days=31)).replace(day=1) - dt.timedelta(days=1)


def _number(text: str) -> int:
    if not _NUMBER.fullmatch(text) or not text.isascii():
        raise ValueError(f"{text!r} is no whole number.")
    return int(text)


def _word_of(vocabulary: type[StrEnum]) -> Callable[[str], Any]:
    def read(text: str) -> StrEnum:
        try:
            return vocabulary(text)
        except ValueError:
            raise ValueError(f"{text!r} is none of {', '.join(vocabulary)}.") from None

    return read
