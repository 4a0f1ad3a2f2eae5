"""Days in service in random worlds against one slow loop over devices and days, written from the rule alone; and what
was computed at a size of the history comes out the same after more entries.

13 worlds in every run; PMCORE_WORLDS says three times how many instead.
"""

import datetime as dt
import os
from collections import Counter
from typing import Any

from hypothesis import HealthCheck, Phase, given, settings
from hypothesis.extra.django import TestCase

from pmcore.engines.records import SYSTEM
from pmcore.engines.vocabulary import FailureKind, RateGrouping, ServiceStateKind
from pmcore.models import DeviceOrigin, HoldDetails, Placement, ReleasedHold, ServiceState
from pmcore.queries.reliability import ReliabilityReport, failure_rates
from pmcore.queries.reliability_filter import ReliabilityFilter
from pmcore.queries.reliability_standouts import standouts
from tests.random_deeds import DEEDS, VERBS
from tests.random_worlds import Base, WorldSeed, a_base, a_world, world_seeds

WORLDS = int(os.environ.get("PMCORE_WORLDS", "40")) // 3
FAR = dt.date(2031, 1, 1)
KINDS = frozenset({FailureKind.FUNCTIONAL, FailureKind.POTENTIAL})


def rates(as_of: dt.date, known: int, group_by: RateGrouping) -> ReliabilityReport:
    asked = ReliabilityFilter(kinds=KINDS)
    return failure_rates(asked, group_by=group_by, as_of=as_of, known=known, today=FAR, actor=SYSTEM)


def newest(facts: list[Any], day: dt.date) -> Any:
    """Of facts in order of days and ids the last that holds on the day."""
    return next((fact for fact in reversed(facts) if fact.from_on <= day), None)


def is_held(holds: list[Any], lifted: dict[int, dt.date], day: dt.date) -> bool:
    return any(hold.from_on <= day < lifted.get(hold.hold_id, FAR) for hold in holds)


def slowly(as_of: dt.date, known: int) -> Counter[int]:
    """Days in service by area, 0 where nobody said which; nobody is ever missing in these worlds."""
    lifted: dict[int, dt.date] = {}
    for part in ReleasedHold.objects.known(known).select_related("statement"):
        if part.statement.signed_on <= as_of:
            lifted[part.hold_id] = min(part.statement.signed_on, lifted.get(part.hold_id, FAR))
    found: Counter[int] = Counter()
    for origin in DeviceOrigin.objects.known(known):
        placed, states, holds = (
            list(table.objects.known(known).filter(**{name: origin.device}).order_by("from_on", "pk"))
            for table, name in ((Placement, "device"), (ServiceState, "device"), (HoldDetails, "hold__device"))
        )
        assert not any(state.state == ServiceStateKind.NOT_LOCATED for state in states)
        day = origin.known_from_on
        while day <= as_of:
            state, place = newest(states, day), newest(placed, day)
            serves = state is None or state.state == ServiceStateKind.IN_SERVICE
            if serves and not is_held(holds, lifted, day):
                found[0 if place is None else place.area_id] += 1
            day += dt.timedelta(days=1)
    return found


def days_by(report: ReliabilityReport) -> dict[Any, int]:
    """Each kind of failure has the same exposure."""
    groups = [group for group in report.groups if group.kind is FailureKind.FUNCTIONAL]
    return {group.key: round(group.exposure_years * 365.25) for group in groups if group.exposure_years}


def printed(known: int, day: dt.date) -> list[Any]:
    asked = ReliabilityFilter(kinds=KINDS)
    found = standouts(asked, as_of=day, known=known, today=FAR, actor=SYSTEM)
    return [found, *(rates(day, known, group_by) for group_by in RateGrouping)]


class TestReliabilityInRandomWorlds(TestCase):
    base: Base

    @classmethod
    def setUpTestData(cls) -> None:
        cls.base = a_base()

    @given(seed=world_seeds(VERBS))
    @settings(max_examples=WORLDS, suppress_health_check=list(HealthCheck), phases=[Phase.generate])
    def test_days_in_service_and_that_they_never_change(self, seed: WorldSeed) -> None:
        then: list[tuple[int, dt.date, list[Any]]] = []

        def print_now(known: int, day: dt.date) -> None:
            then.append((known, day, printed(known, day)))

        a_world(self.base, seed, DEEDS, remembered=print_now)
        assert len(then) == 3
        for known, day, reports in then:
            assert printed(known, day) == reports
            assert days_by(rates(day, known, RateGrouping.AREA)) == slowly(day, known)
