"""What machines ask of the installation: whether it can serve, and how it is doing."""

import datetime as dt

import pytest
from django.db import OperationalError, connection
from django.test import Client

from pmcore.engines.records import SYSTEM
from pmcore.engines.vocabulary import Role
from pmcore.models import Account, Entry, guards
from pmcore.queries import operation
from pmcore.services import jobs
from pmcore.services.tokens import create_token
from tests.cast import a_person
from tests.dashboards.signed_in import set_clock, signed_in

pytestmark = pytest.mark.django_db
AT = dt.datetime(2026, 6, 1, 9, tzinfo=dt.UTC)


def test_it_is_ready_for_anybody_who_asks():
    answer = Client().get("/readyz")
    assert (answer.status_code, answer.content) == (200, b"ready\n")


def test_it_is_not_ready_while_the_record_is_not_guarded():
    guards.take_down(connection)
    try:
        answer = Client().get("/readyz")
    finally:
        guards.put_up(connection)
    assert (answer.status_code, answer.content) == (503, b"The record is not guarded.\n")


def test_it_is_not_ready_while_migrations_are_to_be_applied(monkeypatch):
    monkeypatch.setattr(operation.MigrationExecutor, "migration_plan", lambda self, targets: ["0099"])
    answer = Client().get("/readyz")
    assert (answer.status_code, answer.content) == (503, b"Migrations are still to be applied.\n")


def test_it_is_not_ready_while_the_database_does_not_answer(monkeypatch):
    def silent(*_):
        raise OperationalError("password of the server")

    monkeypatch.setattr(operation, "MigrationExecutor", silent)
    answer = Client().get("/readyz")
    assert (answer.status_code, answer.content) == (503, b"The database does not answer.\n")


def lines(answer) -> dict[str, float]:
    said = [line for line in answer.content.decode().splitlines() if not line.startswith("#")]
    return {name: float(value) for name, value in (line.rsplit(" ", 1) for line in said)}


def test_an_administrator_reads_the_metrics_by_page_or_token(monkeypatch):
    set_clock(monkeypatch, AT)
    administrator = a_person("Ada", Role.ADMINISTRATOR)
    browser = signed_in(administrator)
    found = lines(browser.get("/metrics"))
    assert found["pmcore_record_entries"] == Entry.objects.count() > 0
    name = Account.objects.get(person=administrator.person).username
    token = create_token(username=name, label="monitor", actor=SYSTEM, at=AT).raw
    assert lines(Client().get("/metrics", headers={"Authorization": f"Bearer {token}"})) == found


def test_jobs_and_the_last_verification_are_counted(monkeypatch):
    set_clock(monkeypatch, AT)
    administrator = a_person("Ada", Role.ADMINISTRATOR)
    browser = signed_in(administrator)
    assert "pmcore_verification_sound" not in lines(browser.get("/metrics"))
    jobs.ask(kind="verify_record", unique_key="a", arguments={}, actor=administrator, at=AT)
    jobs.ask(kind="verify_record", unique_key="b", arguments={}, actor=administrator, at=AT)
    taken = jobs.take(job=jobs.unfinished(at=AT)[0], at=AT, seconds=60)
    jobs.finish(lease=taken, at=AT - dt.timedelta(seconds=90), answer={"sound": False})
    found = lines(browser.get("/metrics"))
    assert found['pmcore_jobs{state="waiting"}'] == found['pmcore_jobs{state="done"}'] == 1
    assert (found["pmcore_verification_sound"], found["pmcore_verification_seconds_ago"]) == (0, 90)


@pytest.mark.parametrize("role", sorted(set(Role) - {Role.ADMINISTRATOR, Role.SYSTEM}))
def test_nobody_else_reads_the_metrics(role, monkeypatch):
    set_clock(monkeypatch, AT)
    assert signed_in(a_person("Somebody", role)).get("/metrics").status_code == 403


@pytest.mark.parametrize("headers", [{}, {"Authorization": "Token nonsense"}])
def test_a_stranger_reads_no_metrics(headers):
    assert Client().get("/metrics", headers=headers).status_code == 403
