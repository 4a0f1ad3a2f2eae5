"""What is not ours and goes back before its interval is over gets no periodic due inspection; what takes the place of
another gets its own, none before the day on which it came. Read from the rows of random worlds, by the rules alone.

40 worlds in every run; PMCORE_WORLDS says how many instead.
"""

import datetime as dt
import os
from itertools import pairwise
from typing import Any

from hypothesis import HealthCheck, Phase, given, settings
from hypothesis.extra.django import TestCase

from pmcore import models
from tests.random_deeds import DEEDS, VERBS
from tests.random_worlds import Base, WorldSeed, a_base, a_world, world_seeds
from tests.slow_loop import Facts, one_interval, terms_on

WORLDS = int(os.environ.get("PMCORE_WORLDS", "40"))


def stay(facts: Facts, device: int, day: dt.date) -> tuple[dt.date, dt.date] | None:
    """When what is not ours came, as ours or not, and is to go back; None: it is ours, or nobody said of this stay when
    it goes back."""
    states = facts.of(models.ServiceState, device_id=device)
    came_again = [now.from_on for before, now in pairwise(states) if before.state == "left" and now.from_on <= day]
    came_on = max(came_again, default=facts.of(models.DeviceOrigin, device_id=device)[-1].known_from_on)
    whose = facts.on(models.Ownership, day, device_id=device)
    if whose is None or whose.kind == "owned" or whose.until_on is None or whose.from_on < came_on:
        return None
    return came_on, whose.until_on


class TestLoansInRandomWorlds(TestCase):
    base: Base
    of_stays = of_successors = 0

    @classmethod
    def setUpTestData(cls) -> None:
        cls.base = a_base()

    @classmethod
    def tearDownClass(cls) -> None:
        super().tearDownClass()
        assert cls.of_stays and cls.of_successors, "no world had a loan, or none a successor"

    @given(seed=world_seeds(VERBS))
    @settings(max_examples=WORLDS, suppress_health_check=list(HealthCheck), phases=[Phase.generate])
    def test_nothing_is_due_that_a_stay_or_a_swap_does_not_bring(self, seed: WorldSeed) -> None:
        a_world(self.base, seed, DEEDS)
        came_on = {link.successor_id: link.from_on for link in models.Succession.objects.current()}
        for due in models.DueInspection.objects.all():
            self.check_stay(due)
            if due.device_id in came_on:
                type(self).of_successors += 1
                assert due.due_on >= came_on[due.device_id], due

    def check_stay(self, due: Any) -> None:
        facts = Facts(due.entry)
        swept_on = facts.at[due.entry].date()
        found = stay(facts, due.device_id, swept_on)
        if found is not None:
            type(self).of_stays += 1
            came_on, until_on = found
            assert until_on > one_interval(came_on, terms_on(facts, due.plan_id, swept_on)), (due, found)
