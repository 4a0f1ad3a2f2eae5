"""Frozen records that go into the engines and come out of them."""

from dataclasses import dataclass
from datetime import date

from pmcore.engines.vocabulary import Role


@dataclass(frozen=True, slots=True)
class Actor:
    """Who asks or writes: a person of the record (none: the service itself), the role they act in, and their sites
    (none: every site). Who comes by a read-only `token` (its number) changes nothing, and may be narrowed to a period:
    only the days from `begins_on` to `ends_on` (none: no end) are theirs to ask about."""

    person: int | None
    role: Role
    sites: frozenset[int] | None
    token: int | None = None
    begins_on: date | None = None
    ends_on: date | None = None

    @property
    def is_narrowed(self) -> bool:
        """To a period."""
        return self.begins_on is not None or self.ends_on is not None


SYSTEM = Actor(person=None, role=Role.SYSTEM, sites=None)
"""The service itself: sweeps, imports at the start, the first administrator."""


class ContradictoryRecord(ValueError):
    """The days of a record exclude one another, or one is missing that another needs."""


@dataclass(frozen=True, slots=True)
class Inspected:
    """A complete inspection by the plan's procedure, on the site's day of its last mandatory step."""

    performed_on: date
    re_anchors: bool = False  # by the same act the plan's anchor moves to this day


@dataclass(frozen=True, slots=True)
class DueInspection:
    """One due inspection and what is known to have become of it; None: it has not happened. All days are the site's."""

    opens_on: date
    due_on: date
    closes_on: date
    next_opens_on: date | None = None  # the opening of the window that follows in the plan
    completed_on: date | None = None  # performed day of the inspection credited to this one
    withdrawn_on: date | None = None
    left_on: date | None = None  # the device left the inventory
    left_recorded_on: date | None = None
    sealed_on: date | None = None  # into storage, by the seal that was in force when the window opened
    sealed_recorded_on: date | None = None
    unsealed_on: date | None = None  # the first day out of storage
    reason_on: date | None = None  # since when an acceptable reason for not doing it stands in the record

    def __post_init__(self) -> None:
        if not self.opens_on <= self.due_on <= self.closes_on:
            raise ContradictoryRecord(f"{self.due_on} lies outside its window, {self.opens_on} to {self.closes_on}")
        if (self.left_on is None) != (self.left_recorded_on is None):
            raise ContradictoryRecord("a departure has a day and the day it was recorded")
        if (self.sealed_on is None) != (self.sealed_recorded_on is None):
            raise ContradictoryRecord("a seal has a day and the day it was recorded")
        if self.unsealed_on and (self.sealed_on is None or self.unsealed_on < self.sealed_on):
            raise ContradictoryRecord("a device is unsealed after it was sealed")


@dataclass(frozen=True, slots=True)
class Attempt:
    """Somebody went to inspect the device and could not."""

    tried_on: date
    recorded_on: date
