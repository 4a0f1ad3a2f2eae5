"""Every address of the interface × every role × every method, found from the resolver: a route or a method that nobody
put into the table fails here."""

from collections.abc import Iterator

import pytest
from django.test import Client
from django.urls import URLPattern, URLResolver, get_resolver

from pmcore.engines.records import SYSTEM
from pmcore.engines.vocabulary import Role
from pmcore.models import Account
from pmcore.services.tokens import create_token
from tests.api.asking import NOW, PROBLEM, ROLES, Asker, an_account, by_token
from tests.bench_cast import a_bench, inspection_of, moment, recorded
from tests.cast import a_person, a_procedure
from tests.export.building import done

pytestmark = pytest.mark.django_db

METHODS = ("get", "head", "post", "put", "patch", "delete", "options")
EVERYBODY = set(ROLES)
STAFF = EVERYBODY - {Role.PROVIDER}
DEPARTMENT = STAFF - {Role.CLINICAL_LEAD}

AT_WORK = DEPARTMENT - {Role.AUDITOR}
CHECKING = {Role.AUDITOR, Role.MANAGER, Role.ADMINISTRATOR}

# Address, the question that goes with it, and who may read it.
EXPECTED: dict[str, tuple[str, set[Role]]] = {
    "schema/": ("", EVERYBODY),
    "sites/": ("", STAFF),
    "areas/": ("", STAFF),
    "device-classes/": ("", STAFF),
    "device-models/": ("", STAFF),
    "devices/": ("", STAFF),
    "devices/<key:device>/": ("", STAFF),
    "procedures/": ("", DEPARTMENT),
    "procedures/<key:procedure>/": ("", DEPARTMENT),
    "inspection-plans/": ("", DEPARTMENT),
    "due-inspections/": ("", DEPARTMENT | {Role.PROVIDER}),
    "due-inspections/<key:due>/": ("", DEPARTMENT),
    "assignments/": ("", DEPARTMENT | {Role.PROVIDER}),
    "inspections/": ("", DEPARTMENT | {Role.PROVIDER}),
    "inspections/<key:inspection>/": ("", DEPARTMENT),
    "fault-reports/": ("", STAFF),
    "findings/": ("", EVERYBODY),
    "holds/": ("", STAFF),
    "releases/": ("", STAFF),
    "compliance/": ("?period=2026-09", STAFF),
    "compliance/changes/": ("?period=2026-09&since=0", STAFF),
    "failure-rates/": ("", STAFF),
    "comparisons/": ("?group=controls", STAFF),
    "standouts/": ("", STAFF),
    "history-exports/": ("", CHECKING),
    "history-exports/<key:export>/": ("", CHECKING),
    "history-exports/<key:export>/history.ndjson": ("", CHECKING),
    "history-exports/<key:export>/history.csv": ("", CHECKING),
    "history-exports/<key:export>/pack.zip": ("", CHECKING),
    "heads/": ("", CHECKING),
    "alerts/": ("", EVERYBODY),
    "alerts/<key:alert>/acknowledgement/": ("", set()),
    "alert-rules/": ("", DEPARTMENT),
    "alert-rules/<key:rule>/terms/": ("", set()),
}

OFFICE = {Role.MANAGER, Role.ADMINISTRATOR}
WRITTEN = {
    "assignments/": {Role.MANAGER, Role.SCHEDULER},
    "inspections/": AT_WORK | {Role.PROVIDER},
    "fault-reports/": AT_WORK | {Role.CLINICAL_LEAD},
    "findings/": {Role.MANAGER, Role.TECHNICIAN, Role.PROVIDER},
    "holds/": AT_WORK,
    "releases/": {Role.MANAGER, Role.TECHNICIAN},
    "history-exports/": CHECKING,
    "alerts/<key:alert>/acknowledgement/": AT_WORK | {Role.PROVIDER},
    "alert-rules/": OFFICE,
    "alert-rules/<key:rule>/terms/": OFFICE,
}
"""Who may write where; what these tests send is no JSON."""
NOT_READ = {"alerts/<key:alert>/acknowledgement/", "alert-rules/<key:rule>/terms/"}
OWN_ALONE = {"due-inspections/<key:due>/", "inspections/<key:inspection>/"}
"""Where a provider finds only what is their own."""
JSON = "application/json"
FILES = {"ndjson": "application/x-ndjson", "csv": "text/csv; charset=utf-8", "zip": "application/zip"}
CANCELLED = "history-exports/<key:export>/"


def routes(patterns, prefix: str = "") -> Iterator[str]:
    for pattern in patterns:
        route = prefix + str(pattern.pattern)
        if isinstance(pattern, URLResolver):
            yield from routes(pattern.url_patterns, route)
        elif isinstance(pattern, URLPattern):
            yield route


def versioned() -> set[str]:
    return {route.removeprefix("api/v1/") for route in routes(get_resolver().url_patterns) if "api/v1/" in route}


def test_the_table_holds_every_route_and_no_other():
    assert versioned() == EXPECTED.keys()


@pytest.fixture
def hospital(settings, tmp_path):
    settings.DATA, settings.SIGNING_KEY = tmp_path, tmp_path / "signing-key"
    return a_bench()


def filled(route: str, hospital) -> str:
    address = route.replace("<key:device>", str(hospital.device))
    if "<key:procedure>" in address:
        address = address.replace("<key:procedure>", str(a_procedure(hospital.odile, "Another check")))
    address = address.replace("<key:due>", str(hospital.due)).replace("<key:alert>", "1").replace("<key:rule>", "1")
    if "<key:inspection>" in address:
        address = address.replace("<key:inspection>", str(inspection_of(recorded(hospital, moment(6, 1)))))
    if "<key:export>" in address:
        address = address.replace("<key:export>", str(done(hospital.odile).id))
    return f"/api/v1/{address}{EXPECTED[route][0]}"


def expected_status(route: str, method: str, role: Role) -> int:
    if method == "post" and route in WRITTEN:
        return 415 if role in WRITTEN[route] else 403
    if method == "delete" and route == CANCELLED:
        return 200 if role in CHECKING else 403
    if method not in {"get", "head"} or route in NOT_READ:
        return 405
    if route in OWN_ALONE and role == Role.PROVIDER:
        return 404
    return 200 if role in EXPECTED[route][1] else 403


def check_said(response, status: int, method: str) -> None:
    assert response.status_code == status, response.content
    kind = FILES.get(response.request["PATH_INFO"].rpartition(".")[2], JSON) if status == 200 else PROBLEM
    assert response["Content-Type"] == kind
    assert response["Cache-Control"] == "no-store"
    if method != "head" and status >= 400:
        assert response.json()["status"] == status


@pytest.mark.parametrize("route", sorted(EXPECTED))
@pytest.mark.parametrize("role", ROLES)
def test_every_role_on_every_route_by_every_method(hospital, route, role):
    asker = by_token(a_person("Somebody Elsewhere", role, hospital.alderwick, hospital.stennet))
    address = filled(route, hospital)
    for method in METHODS:
        check_said(asker.response(method, address), expected_status(route, method, role), method)


@pytest.mark.parametrize("route", sorted(EXPECTED))
def test_nobody_gets_in_without_a_token(hospital, route):
    address = filled(route, hospital)
    for method in METHODS:
        response = getattr(Client(), method)(address)
        check_said(response, 401, method)
        assert response["WWW-Authenticate"] == "Token"


@pytest.mark.parametrize("route", sorted(EXPECTED))
def test_a_token_that_opens_nothing_is_refused(hospital, route):
    address = filled(route, hospital)
    for method in METHODS:
        response = Asker("a" * 43).response(method, address)
        check_said(response, 401, method)
        assert response["WWW-Authenticate"] == "Token"


@pytest.mark.parametrize("route", sorted(EXPECTED.keys() - NOT_READ))
def test_whoever_is_signed_in_to_the_pages_reads_the_same(hospital, route):
    client = Client()
    client.force_login(an_account(hospital.odile))
    address = filled(route, hospital)
    by_session = client.get(address)
    check_said(by_session, 200, "get")
    assert _content(by_session) == _content(Client().get(address, headers=_token_of(hospital.odile)))


def _content(response) -> bytes:
    return b"".join(response.streaming_content) if response.streaming else response.content


def _token_of(actor) -> dict[str, str]:
    username = Account.objects.get(person_id=actor.person).username
    return {"Authorization": f"Token {create_token(username=username, label='same', actor=SYSTEM, at=NOW).raw}"}
