"""A letter takes a fixed number of statements, however much it tells of."""

import pytest
from django.db import connection
from django.test.utils import CaptureQueriesContext

from pmcore.alert_mail import compose
from pmcore.engines.records import SYSTEM
from pmcore.models import Mail
from pmcore.queries.letters import letter_of
from pmcore.services.alert_rules import make_default_rules
from tests.alert_cast import CLOSES, FIRST, a_ward
from tests.services.test_alerts import ONE
from tests.story import moment

pytestmark = pytest.mark.django_db

STATEMENTS = 62


@pytest.mark.parametrize("devices", [2, 12])
def test_however_much_it_tells_of(devices: int) -> None:
    ward = a_ward(devices)
    make_default_rules(from_on=FIRST, actor=SYSTEM, at=moment(FIRST, 0))
    ward.sweep(CLOSES + ONE)
    mail = Mail.objects.get(person=ward.work.ruan.person)
    with CaptureQueriesContext(connection) as captured:
        letter = letter_of(mail, moment(CLOSES + ONE, 7))
        compose(letter)
    assert len(letter.items) == devices
    assert len(captured) == STATEMENTS
