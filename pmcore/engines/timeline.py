"""Values that hold from a day on, and the one that holds on a day."""

from bisect import bisect_right
from collections import defaultdict
from collections.abc import Iterable, Iterator
from datetime import date
from typing import Generic, TypeVar

Key = TypeVar("Key")
Value = TypeVar("Value")


class Timeline(Generic[Value]):
    """Values with their first days, given in order; of one day the later one holds."""

    __slots__ = ("_days", "_values")

    def __init__(self, changes: Iterable[tuple[date, Value]] = ()) -> None:
        pairs = list(changes)
        self._days = [day for day, _ in pairs]
        self._values = [value for _, value in pairs]

    def __iter__(self) -> Iterator[tuple[date, Value]]:
        return zip(self._days, self._values, strict=True)

    def on(self, day: date) -> Value | None:
        """None before the first."""
        place = bisect_right(self._days, day)
        return self._values[place - 1] if place else None

    def from_the_first_on(self, day: date) -> Value | None:
        """As `on`, but before the first day the first value holds already; None where there is none at all."""
        return self._values[max(bisect_right(self._days, day) - 1, 0)] if self._values else None


def timelines(rows: Iterable[tuple[Key, date, Value]]) -> dict[Key, Timeline[Value]]:
    """Of rows (key, first day, value) in order of their days: a timeline for each key."""
    found: dict[Key, list[tuple[date, Value]]] = defaultdict(list)
    for key, from_on, value in rows:
        found[key].append((from_on, value))
    return {key: Timeline(changes) for key, changes in found.items()}
