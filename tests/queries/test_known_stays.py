"""What was computed at a size of the history comes out identical after more entries, for the same day and the same
size, whether standings are kept or not."""

import datetime as dt
import os
from typing import Any

from hypothesis import HealthCheck, Phase, given, settings
from hypothesis.extra.django import TestCase

from pmcore.engines.records import SYSTEM
from pmcore.engines.vocabulary import Grouping
from pmcore.queries.compliance import ComplianceFilter, ComplianceReport, compliance
from pmcore.services.keep_standings import keep_standings
from tests.random_deeds import DEEDS, VERBS
from tests.random_worlds import Base, WorldSeed, a_base, a_world, world_seeds

WORLDS = int(os.environ.get("PMCORE_WORLDS", "60")) // 3
FAR = dt.date(2031, 1, 1)
EVER = ComplianceFilter(dt.date(2024, 1, 1), FAR)


def printed(known: int, day: dt.date) -> list[ComplianceReport]:
    asked: dict[str, Any] = {"known": known, "today": FAR, "actor": SYSTEM}
    return [
        compliance(EVER, as_of=day, group_by=Grouping.SITE, **asked),
        compliance(EVER, as_of=day - dt.timedelta(days=90), group_by=Grouping.MONTH, **asked),
    ]


class TestKnownStays(TestCase):
    base: Base

    @classmethod
    def setUpTestData(cls) -> None:
        cls.base = a_base()

    @given(seed=world_seeds(VERBS))
    @settings(max_examples=WORLDS, suppress_health_check=list(HealthCheck), phases=[Phase.generate])
    def test_a_figure_at_a_size_never_changes(self, seed: WorldSeed) -> None:
        then: list[tuple[int, dt.date, list[ComplianceReport]]] = []

        def print_now(known: int, day: dt.date) -> None:
            then.append((known, day, printed(known, day)))
            if len(then) == 1:
                keep_standings()

        a_world(self.base, seed, DEEDS, remembered=print_now)
        assert len(then) == 3
        for known, day, reports in then:
            assert printed(known, day) == reports
        keep_standings()
        assert printed(*then[-1][:2]) == then[-1][2]
