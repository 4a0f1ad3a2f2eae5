"""Every route, every method, every role: allowed where the table says so and refused everywhere else."""

import pytest
import time_machine
from django.urls import get_resolver

from pmcore.engines.vocabulary import Role
from tests.api.callers import ROLES, Caller, a_token
from tests.cast import AT, a_hospital, a_plan, a_procedure

pytestmark = [pytest.mark.django_db, pytest.mark.usefixtures("at_the_time")]

METHODS = ("GET", "POST", "PUT", "PATCH", "DELETE")
EVERYBODY = frozenset(ROLES)
STAFF = EVERYBODY - {Role.PROVIDER}

# Route, an address of it, and who may use which method; whatever is not here is refused to everybody.
TABLE = {
    "sites/": ("sites/", {"GET": EVERYBODY}),
    "areas/": ("areas/", {"GET": EVERYBODY}),
    "device-classes/": ("device-classes/", {"GET": EVERYBODY}),
    "device-models/": ("device-models/", {"GET": EVERYBODY}),
    "devices/": ("devices/", {"GET": STAFF}),
    "devices/<key:device>/": ("devices/{device}/", {"GET": STAFF}),
    "procedures/": ("procedures/", {"GET": EVERYBODY}),
    "procedures/<key:procedure>/": ("procedures/{procedure}/", {"GET": EVERYBODY}),
    "inspection-plans/": ("inspection-plans/", {"GET": EVERYBODY}),
    "compliance/": ("compliance/?period=2026-09", {"GET": STAFF}),
    "compliance/changes/": ("compliance/changes/?period=2026-09&since=1", {"GET": STAFF}),
}
OPEN = {"schema/", ""}  # without an account: the description, and what says that there is nothing


@pytest.fixture
def at_the_time():
    with time_machine.travel(AT, tick=False):
        yield


def routes() -> set[str]:
    (api,) = [each for each in get_resolver().url_patterns if str(each.pattern) == "api/v1/"]
    return {str(each.pattern) for each in api.url_patterns}


def test_every_route_stands_in_the_table():
    assert routes() == TABLE.keys() | OPEN


@pytest.mark.parametrize("role", ROLES)
def test_a_role_may_do_what_the_table_says_and_nothing_else(role):
    hospital = a_hospital()
    procedure = a_procedure(hospital.odile)
    a_plan(hospital.odile, procedure, device=hospital.device)
    caller = Caller(a_token(role, "AG"))
    header = {"Authorization": f"Token {caller.token}"}
    for address, allowed in TABLE.values():
        path = "/api/v1/" + address.format(device=hospital.device, procedure=procedure)
        for method in METHODS:
            answer = caller.client.generic(method, path, headers=header)
            if role in allowed.get(method, ()):
                assert answer.status_code < 403, (method, path, answer.content)
            else:
                assert answer.status_code in {403, 405}, (method, path, answer.content)
                assert answer["Content-Type"] == "application/problem+json"


def test_nobody_gets_in_without_an_account():
    a_hospital()
    for address, allowed in TABLE.values():
        for method in METHODS:
            answer = Caller("").client.generic(method, "/api/v1/" + address.format(device=1, procedure=1))
            assert answer.status_code == 401, (method, address)
            assert answer["WWW-Authenticate"] == "Token"
            assert allowed
