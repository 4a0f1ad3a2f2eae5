"""Parameters as an address gives them: everything that is wrong is said at once, by name; nothing is guessed, and
nothing unknown is passed over."""

import datetime as dt
import re
from collections.abc import Callable, Collection, Mapping, Sequence
from dataclasses import dataclass, field
from enum import StrEnum
from typing import TypeVar

from pmcore.queries.compliance_asked import BadParameters

__all__ = ["BadParameters", "ParameterReader", "day", "number", "word_of", "yes"]

_DAY = re.compile(r"\d{4}-\d{2}-\d{2}")
_NUMBER = re.compile(r"\d{1,18}")

_Value = TypeVar("_Value")
_Word = TypeVar("_Word", bound=StrEnum)


@dataclass
class ParameterReader:
    """`given`: each parameter with its values; `names`: those that there are."""

    given: Mapping[str, Sequence[str]]
    names: Collection[str]
    errors: dict[str, str] = field(default_factory=dict)

    def __post_init__(self) -> None:
        for name in self.given.keys() - set(self.names):
            self.errors[name] = f"There is no parameter {name!r}; there are {', '.join(self.names)}."

    def one(self, name: str, read: Callable[[str], _Value]) -> _Value | None:
        values = self.given.get(name, ())
        if len(values) > 1:
            self.errors[name] = f"{name} is given {len(values)} times; say it once."
            return None
        return self._read(name, values[0], read) if values else None

    def many(self, name: str, read: Callable[[str], _Value]) -> frozenset[_Value] | None:
        """Given several times, or once with commas between; None where it is not given."""
        texts = [text for value in self.given.get(name, ()) for text in value.split(",")]
        found = [self._read(name, text, read) for text in texts]
        return frozenset(each for each in found if each is not None) if texts else None

    def refuse(self) -> None:
        """Raises BadParameters if anything was wrong."""
        if self.errors:
            raise BadParameters(self.errors)

    def _read(self, name: str, text: str, read: Callable[[str], _Value]) -> _Value | None:
        try:
            return read(text)
        except ValueError as wrong:
            self.errors[name] = f"{name}: {wrong}"
            return None


def day(text: str) -> dt.date:
    try:
        if _DAY.fullmatch(text):
            return dt.date.fromisoformat(text)
    except ValueError:
        pass
    raise ValueError(f"{text!r} is no date; write it as 2026-10-31.")


def number(text: str) -> int:
    if not _NUMBER.fullmatch(text) or not text.isascii():
        raise ValueError(f"{text!r} is no whole number.")
    return int(text)


def yes(text: str) -> bool:
    if text not in {"yes", "no"}:
        raise ValueError(f"{text!r} is neither yes nor no.")
    return text == "yes"


def word_of(vocabulary: type[_Word]) -> Callable[[str], _Word]:
    def read(text: str) -> _Word:
        try:
            return vocabulary(text)
        except ValueError:
            raise ValueError(f"{text!r} is none of {', '.join(vocabulary)}.") from None

    return read
