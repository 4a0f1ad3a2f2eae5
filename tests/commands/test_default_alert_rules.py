"""A new department begins with rules of each kind."""

from io import StringIO

import pytest
from django.core.management import call_command

from pmcore.engines.vocabulary import AlertKind
from pmcore.models import AlertRule
from pmcore.queries.alert_rules import rules_on
from pmcore.queries.head import head
from tests.cast import AT, a_hospital
from tests.dashboards.signed_in import set_clock

pytestmark = pytest.mark.django_db


def said() -> str:
    out = StringIO()
    call_command("default_alert_rules", stdout=out)
    return out.getvalue().strip()


def test_they_hold_from_today_on_and_twice_adds_nothing(monkeypatch: pytest.MonkeyPatch) -> None:
    a_hospital()
    set_clock(monkeypatch, AT)
    assert said() == "6 rules made."
    assert {rule.kind for rule in rules_on(AT.date(), head().size)} == set(AlertKind)
    assert said() == "There is a rule of each kind already."
    assert AlertRule.objects.count() == 6
