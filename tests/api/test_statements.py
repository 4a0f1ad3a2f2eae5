"""Every list takes the same number of statements, however much there is and whatever is asked."""

import pytest
import time_machine
from django.db import connection
from django.test.utils import CaptureQueriesContext

from pmcore.engines.vocabulary import Role
from tests.api.callers import Caller, a_token
from tests.cast import AT, a_device, a_hospital, a_plan, a_procedure

pytestmark = pytest.mark.django_db

LISTS = {
    "sites/": 10,
    "areas/": 10,
    "device-classes/": 10,
    "device-models/": 10,
    "devices/": 17,
    "devices/?words=OM&state=in_service": 17,
    "procedures/": 12,
    "inspection-plans/": 10,
}


def statements(caller: Caller, address: str) -> int:
    with CaptureQueriesContext(connection) as captured:
        assert caller.get(address).status_code == 200
    return len(captured)


@pytest.mark.parametrize("devices", [1, 60])
def test_lists_take_a_fixed_number(devices):
    with time_machine.travel(AT, tick=False):
        hospital = a_hospital()
        a_plan(hospital.odile, a_procedure(hospital.odile), device=hospital.device)
        for number in range(devices - 1):
            a_device(hospital.odile, hospital.model, f"P-{number}", hospital.theatre)
        caller = Caller(a_token(Role.AUDITOR, "AG"))
        assert {address: statements(caller, address) for address in LISTS} == LISTS
