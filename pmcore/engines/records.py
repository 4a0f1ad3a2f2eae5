"""Frozen records that go into the engines and come out of them."""

from dataclasses import dataclass

from pmcore.engines.vocabulary import Role


@dataclass(frozen=True, slots=True)
class Actor:
    """Who asks or writes: a person of the record (none: the service itself), the role they act in, and their sites
    (none: every site)."""

    person: int | None
    role: Role
    sites: frozenset[int] | None


SYSTEM = Actor(person=None, role=Role.SYSTEM, sites=None)
"""The service itself: sweeps, imports at the start, the first administrator."""
