"""However many look at the same moment, each alert is made once and each person told once of it."""

from typing import Any

import pytest

from pmcore.engines.records import SYSTEM
from pmcore.engines.vocabulary import AlertChannel, AlertKind, Role
from pmcore.models import Alert, Delivery, Mail
from pmcore.services.alert_rules import make_default_rules
from pmcore.services.assignments import assign_inspections, take_off
from tests.alert_cast import CLOSES, FIRST, Ward, a_ward
from tests.services.test_alerts import ONE
from tests.services.test_append_concurrently import at_once
from tests.story import moment

pytestmark = pytest.mark.django_db(transaction=True)


def check_each_once(devices: int, people: int) -> None:
    assert Alert.objects.count() == devices
    assert Delivery.objects.filter(channel=AlertChannel.IN_APP).count() == devices * people
    assert Delivery.objects.filter(channel=AlertChannel.MAIL).count() == devices * people
    assert Mail.objects.count() == people
    assert not Mail.objects.filter(deliveries__isnull=True).exists()


@pytest.mark.parametrize("directly", [True, False])
def test_of_eight_sweeps_each_alert_is_made_by_one(directly: bool) -> None:
    ward = a_ward(12)
    ward.rule(AlertKind.OVERDUE, (1, Role.TECHNICIAN), at_once=directly)
    made = at_once(8, lambda _: ward.sweep(CLOSES + ONE))
    assert sum(made) == 12
    check_each_once(devices=12, people=2)


def test_sweep_and_follower_at_once_tell_once() -> None:
    ward = a_ward(6)
    make_default_rules(from_on=FIRST, actor=SYSTEM, at=moment(FIRST, 0))
    today = CLOSES - 3 * ONE
    dues: dict[str, Any] = {"due_inspections": ward.work.dues, "actor": ward.work.jorun}
    assign_inspections(**dues, person=ward.work.ruan.person or 0, on=today, half=None, at=moment(FIRST, 9))
    assert ward.sweep(today) == 0
    take_off(**dues, at=moment(today, 10))
    ask_again(ward)
    at_once(8, lambda number: ward.follow(today) if number % 2 else ward.sweep(today, hour=12))
    ward.follow(today)
    check_each_once(devices=6, people=1)


def ask_again(ward: Ward) -> None:
    """By a rule that tells nobody of anything here: everything is looked at once more."""
    ward.rule(AlertKind.LONG_HOLD, (1, Role.MANAGER), on=CLOSES)
