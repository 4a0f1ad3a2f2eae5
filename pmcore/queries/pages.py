"""A page of a list in order of keys."""

from collections.abc import Callable, Sequence
from dataclasses import dataclass
from typing import Generic, TypeVar

Record = TypeVar("Record")


@dataclass(frozen=True)
class Page(Generic[Record]):
    """`after`: the key after which the next page begins; None: this is the last one."""

    records: tuple[Record, ...]
    after: int | None

    @classmethod
    def of(cls, found: Sequence[Record], limit: int, key: Callable[[Record], int]) -> "Page[Record]":
        """`found`: in order of keys, one more than the limit where there are more."""
        records = tuple(found[:limit])
        return cls(records, key(records[-1]) if len(found) > limit else None)
