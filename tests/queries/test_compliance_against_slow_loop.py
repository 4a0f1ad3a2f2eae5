"""The compliance figure of random worlds against one slow loop over the rows.

60 worlds in every run; PMCORE_WORLDS says how many instead. What `test_compliance_questions.py` holds against the
figure is left out here.
"""

import datetime as dt
import os
from typing import Any

from hypothesis import HealthCheck, Phase, given, settings
from hypothesis.extra.django import TestCase

from pmcore.engines.records import SYSTEM
from pmcore.engines.vocabulary import Grouping, RiskClass
from pmcore.models import DueInspection, Withdrawal
from pmcore.queries.compliance import ComplianceFilter, ComplianceReport, compliance
from tests.random_deeds import DEEDS, VERBS
from tests.random_worlds import Base, WorldSeed, a_base, a_world, world_seeds
from tests.slow_loop import APART, DUE, Facts, credited, is_suspended, outcomes, tally

WORLDS = int(os.environ.get("PMCORE_WORLDS", "60"))
EVER = (dt.date(2024, 1, 1), dt.date(2030, 12, 31))
FAR = dt.date(2031, 1, 1)


def asked(as_of: dt.date, known: int, period: tuple[dt.date, dt.date] = EVER, **options: Any) -> ComplianceReport:
    group_by = options.pop("group_by", None)
    chosen = ComplianceFilter(*period, **options)
    return compliance(chosen, as_of=as_of, known=known, today=FAR, actor=SYSTEM, group_by=group_by)


def numbers(counted: Any) -> dict[str, int]:
    return {word: getattr(counted, word) for word in (*DUE, *APART)}


def month_of(key: str) -> tuple[dt.date, dt.date]:
    first = dt.date.fromisoformat(f"{key}-01")
    return first, (first + dt.timedelta(days=31)).replace(day=1) - dt.timedelta(days=1)


def is_questioned(facts: Facts, as_of: dt.date) -> bool:
    """Something is withdrawn after the day, is met by the inspection that it is counted from, opened in another order
    than it is due, or was done sealed."""
    done_on = credited(facts, as_of)
    if done_on != credited(facts, as_of, by_its_own=True):
        return True
    dues = facts.all(DueInspection)
    said = [facts.of(Withdrawal, due_inspection_id=due.pk)[-1:] for due in dues]
    if any(last.withdrawn and last.from_on > as_of for words in said for last in words):
        return True
    by_day = sorted(dues, key=lambda due: (due.device_id, due.plan_id, due.due_on, due.pk))
    if by_day != sorted(dues, key=lambda due: (due.device_id, due.plan_id, due.opens_on, due.pk)):
        return True
    return any(due.pk in done_on and is_suspended(facts, due, as_of) for due in dues)


def check(facts: Facts, as_of: dt.date, site: int) -> None:
    """Month by month everywhere; the whole at one site, and there by risk class."""
    slow = outcomes(facts, as_of)
    everywhere = asked(as_of, facts.known, group_by=Grouping.MONTH)
    assert numbers(everywhere.tally) == tally(slow, *EVER)
    for group in everywhere.groups:
        assert numbers(group.tally) == tally(slow, *month_of(str(group.key))), group.key
    by_risk = asked(as_of, facts.known, sites=frozenset({site}), group_by=Grouping.RISK_CLASS)
    assert numbers(by_risk.tally) == tally(slow, *EVER, site=site)
    for risk_class in RiskClass:
        found = [numbers(group.tally) for group in by_risk.groups if group.key == risk_class]
        slowly = tally(slow, *EVER, site=site, risk_class=risk_class)
        assert found == [slowly] or (found == [] and not any(slowly.values())), risk_class


class TestAgainstTheSlowLoop(TestCase):
    base: Base
    looked_at = compared = 0

    @classmethod
    def setUpTestData(cls) -> None:
        cls.base = a_base()

    @classmethod
    def tearDownClass(cls) -> None:
        super().tearDownClass()
        assert 3 * cls.compared >= cls.looked_at, "most worlds are left out"

    @given(seed=world_seeds(VERBS))
    @settings(max_examples=WORLDS, suppress_health_check=list(HealthCheck), phases=[Phase.generate])
    def test_query_and_loop_agree(self, seed: WorldSeed) -> None:
        world = a_world(self.base, seed, DEEDS)
        for known, day in world.sizes:
            facts = Facts(known)
            for number, as_of in enumerate((day, day - dt.timedelta(days=75))):
                type(self).looked_at += 1
                if not is_questioned(facts, as_of):
                    type(self).compared += 1
                    check(facts, as_of, self.base.sites[number])
