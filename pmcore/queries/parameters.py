"""The parameters of a question, as an address gives them, read strictly: the same for page and interface.

Everything that is wrong is said at once, by parameter; nothing is guessed and nothing unknown is passed over.
"""

import datetime as dt
import re
from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass, field
from enum import StrEnum
from typing import Any, TypeVar

from pmcore.queries.asked import AskedRefused
from pmcore.queries.columns import MAX_INT

_MONTH = re.compile(r"[0-9]{4}-[0-9]{2}")
_DAY = re.compile(r"[0-9]{4}-[0-9]{2}-[0-9]{2}")
_NUMBER = re.compile(r"[0-9]{1,16}")
_FIRST_YEAR, _LAST_YEAR = 1900, 2200  # a day of any other is a slip, and near the calendar's ends sums overflow
_SHOWN = 40

_Value = TypeVar("_Value")
Given = Mapping[str, Sequence[str]]
"""Each parameter with the values that it was given."""


class BadParameters(AskedRefused):
    """`errors`: a sentence for each parameter that will not do, by its name."""

    def __init__(self, errors: Mapping[str, str]) -> None:
        super().__init__(" ".join(errors.values()))
        self.errors = dict(errors)


@dataclass
class Parameters:
    """`there`: the names of all parameters that may be given. Errors gather until `refuse`."""

    given: Given
    there: Sequence[str]
    errors: dict[str, str] = field(default_factory=dict)

    def __post_init__(self) -> None:
        for name in self.given.keys() - set(self.there):
            self.errors[name] = f"There is no parameter {name!r}; there are {', '.join(self.there)}."

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
        month, first, last = self.one("period", a_month), self.one("from", a_day), self.one("to", a_day)
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

    def need(self, *names: str) -> None:
        for name in names:
            if name not in self.given:
                self.errors[name] = f"{name} has to be said."

    def refuse(self) -> None:
        """Raises BadParameters where anything was wrong."""
        if self.errors:
            raise BadParameters(self.errors)

    def _read(self, name: str, text: str, read: Callable[[str], _Value]) -> _Value | None:
        try:
            return read(text)
        except ValueError as wrong:
            self.errors[name] = f"{name}: {wrong}"
            return None


def a_day(text: str) -> dt.date:
    try:
        day = dt.date.fromisoformat(text) if _DAY.fullmatch(text) else None
    except ValueError:
        day = None
    if day is None:
        raise ValueError(f"{text!r} is no date; write it as 2026-10-31.")
    _check_year(text, day)
    return day


def a_month(text: str) -> tuple[dt.date, dt.date]:
    """Its first and last day."""
    if not _MONTH.fullmatch(text) or not 1 <= int(text[5:]) <= 12 or text.startswith("0000"):
        raise ValueError(f"{text!r} is no month; write it as 2026-09.")
    first = dt.date(int(text[:4]), int(text[5:]), 1)
    _check_year(text, first)
    return first, (first + dt.timedelta(days=31)).replace(day=1) - dt.timedelta(days=1)


def a_number(text: str) -> int:
    if not _NUMBER.fullmatch(text):
        raise ValueError(f"{_shortened(text)!r} is no whole number.")
    if int(text) > MAX_INT:
        raise ValueError(f"{text} is larger than any number of the record.")
    return int(text)


def _check_year(text: str, day: dt.date) -> None:
    if not _FIRST_YEAR <= day.year <= _LAST_YEAR:
        raise ValueError(f"{text} lies outside the years {_FIRST_YEAR} to {_LAST_YEAR}.")


def _shortened(text: str) -> str:
    return text if len(text) <= _SHOWN else f"{text[:_SHOWN]}…"


def yes_or_no(text: str) -> bool:
    if text not in {"yes", "no"}:
        raise ValueError(f"{text!r} is neither yes nor no.")
    return text == "yes"


def some_words(text: str) -> str:
    """What is searched for: at most 200 characters, none of them unseen."""
    if not text.isprintable() or len(text) > 200:
        raise ValueError("at most 200 printable characters can be searched for.")
    return text


def a_word_of(vocabulary: type[StrEnum]) -> Callable[[str], Any]:
    def read(text: str) -> StrEnum:
        try:
            return vocabulary(text)
        except ValueError:
            raise ValueError(f"{text!r} is none of {', '.join(vocabulary)}.") from None

    return read
