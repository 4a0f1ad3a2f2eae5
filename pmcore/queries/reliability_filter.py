"""Which failures and which days in service a question about reliability is about."""

import datetime as dt
from dataclasses import dataclass

from pmcore.engines.vocabulary import Discovery, FailureEvidence, FailureKind, Subsystem
from pmcore.queries.asked import BadPeriod


@dataclass(frozen=True, slots=True)
class ReliabilityFilter:
    """Days from `starts_on` to `ends_on`, both included; None: from the beginning, up to the day asked for. Other None:
    all of them. Kinds of failure are counted apart from each other. Site, area and revision are the device's on each
    day."""

    starts_on: dt.date | None = None
    ends_on: dt.date | None = None
    device_classes: frozenset[int] | None = None
    device_models: frozenset[int] | None = None
    revisions: frozenset[int] | None = None
    sites: frozenset[int] | None = None
    areas: frozenset[int] | None = None
    subsystems: frozenset[Subsystem] | None = None
    kinds: frozenset[FailureKind] = frozenset({FailureKind.FUNCTIONAL})
    discoveries: frozenset[Discovery] | None = None
    evidence: FailureEvidence = FailureEvidence.ALL

    def __post_init__(self) -> None:
        if self.starts_on is not None and self.ends_on is not None and self.starts_on > self.ends_on:
            raise BadPeriod(f"The period begins on {self.starts_on}, after its end on {self.ends_on}.")

    def counts(self, subsystem: Subsystem) -> bool:
        return self.subsystems is None or subsystem in self.subsystems
