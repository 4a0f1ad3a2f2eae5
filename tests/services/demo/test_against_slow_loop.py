"""Every month × site × risk class of the demonstration, at three sizes of the history, comes out of the slow loop as it
does of the query. A few devices in every run; PMCORE_DEMO_DEVICES says how many instead."""

import os
from collections import Counter
from collections.abc import Iterator
from typing import Any

import pytest

from pmcore.engines.records import SYSTEM
from pmcore.engines.vocabulary import Grouping, RiskClass
from pmcore.models import Entry, Site
from pmcore.queries.compliance import ComplianceFilter, compliance
from pmcore.queries.head import head
from pmcore.services.keep_standings import keep_standings
from tests.services.demo.building import A_FEW, BEGINS_ON, ENDS_ON, built
from tests.slow_loop import APART, DUE, Facts, outcomes

DEVICES = int(os.environ.get("PMCORE_DEMO_DEVICES", str(A_FEW)))


@pytest.fixture(scope="module", autouse=True)
def demonstration(django_db_setup: None, django_db_blocker: Any) -> Iterator[None]:
    with built(django_db_blocker, devices=DEVICES):
        keep_standings()
        yield


def slowly(known: int, as_of: Any) -> dict[tuple[str, int | None, str], Counter[str]]:
    found: dict[tuple[str, int | None, str], Counter[str]] = {}
    for each in outcomes(Facts(known), as_of):
        if BEGINS_ON <= each.closes_on <= ENDS_ON:
            found.setdefault((f"{each.closes_on:%Y-%m}", each.site, each.risk_class), Counter())[each.word] += 1
    return found


def asked(known: int, as_of: Any) -> dict[tuple[str, int | None, str], Counter[str]]:
    found: dict[tuple[str, int | None, str], Counter[str]] = {}
    for site in Site.objects.values_list("pk", flat=True):
        for risk_class in RiskClass:
            chosen = ComplianceFilter(BEGINS_ON, ENDS_ON, sites=frozenset({site}), risk_classes=frozenset({risk_class}))
            report = compliance(chosen, as_of=as_of, known=known, today=ENDS_ON, actor=SYSTEM, group_by=Grouping.MONTH)
            for group in report.groups:
                words = {word: getattr(group.tally, word) for word in (*DUE, *APART)}
                found[str(group.key), site, str(risk_class)] = Counter({w: n for w, n in words.items() if n})
    return found


@pytest.mark.parametrize("part", [1.0, 0.8, 0.5], ids=["now", "at four fifths", "half-way"])
def test_every_cell_agrees(part: float, db: None) -> None:
    known = int(head().size * part)
    following = Entry.objects.filter(seq=known + 1).values_list("at", flat=True).first()
    as_of = ENDS_ON if following is None else following.date()
    slow, quick = slowly(known, as_of), asked(known, as_of)
    assert len(quick) > 30
    assert quick == slow
