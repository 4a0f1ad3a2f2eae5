"""A ward of due inspections (`due_work.py`) with rules, looked at day by day. Window: 2026-05-16 to 07-15."""

import datetime as dt
from dataclasses import dataclass
from typing import Any

from pmcore.engines.records import SYSTEM
from pmcore.engines.vocabulary import AlertChannel, AlertKind, Role
from pmcore.models import Alert, Delivery
from pmcore.queries.alert_rules import Step
from pmcore.queries.sites import sites_on
from pmcore.services.alert_rules import make_rule
from pmcore.services.alerts import follow_alerts, sweep_site
from tests.due_work import DueWork, some_due_work
from tests.story import day, moment

FIRST = day(6, 1)
CLOSES = day(7, 15)


@dataclass
class Ward:
    work: DueWork

    def sweep(self, *days: dt.date, hour: int = 1) -> int:
        """Look at every site on each of the days; how many alerts were made."""
        return sum(self.sweep_at(moment(on, hour)) for on in days)

    def sweep_at(self, at: dt.datetime) -> int:
        return sum(sweep_site(site=site, at=at) for site in sites_on(at.date()))

    def follow(self, on: dt.date, hour: int = 12) -> int:
        return follow_alerts(at=moment(on, hour))

    def rule(self, kind: AlertKind, *steps: tuple[int, Role], on: dt.date = FIRST, **options: Any) -> int:
        given: dict[str, Any] = {"at_once": False, "from_on": on, "actor": SYSTEM, "at": moment(on, 0)}
        return make_rule(kind=kind, steps=[Step(*step) for step in steps], **{**given, **options}).subject


def a_ward(devices: int = 3) -> Ward:
    return Ward(some_due_work(devices))


def told(channel: AlertChannel = AlertChannel.IN_APP) -> dict[int, int]:
    """How many alerts each person was told of."""
    found: dict[int, int] = {}
    for person in Delivery.objects.filter(channel=channel).values_list("person", flat=True):
        found[person] = found.get(person, 0) + 1
    return found


def made() -> list[tuple[str, int]]:
    """Kind and days of every alert, in order of their making."""
    return list(Alert.objects.order_by("pk").values_list("kind", "days"))
