"""Who cuts off the newest entries whole leaves a sound history; marks of its readers may still remember the rest."""

import pytest
from django.db import connection

from pmcore.engines.records import SYSTEM
from pmcore.models import Entry, Follower, Job, guards
from pmcore.queries.verification import verify
from pmcore.services import jobs
from pmcore.services.followers import follow
from pmcore.tasks import run_job
from tests.history import AT, small_history

pytestmark = pytest.mark.django_db


def cut_off_the_newest() -> int:
    """The newest entry and its rows are taken away; how many entries are left."""
    guards.take_down(connection)
    newest = Entry.objects.order_by("-seq").first()
    assert newest is not None and newest.kind == "inspections_due"
    with connection.cursor() as cursor:
        cursor.execute("DELETE FROM pmcore_dueinspection WHERE entry = %s", [newest.seq])
        cursor.execute("DELETE FROM pmcore_entry WHERE seq = %s", [newest.seq])
    return newest.seq - 1


def found() -> list[tuple[str, str]]:
    return [(fault.code, fault.says) for fault in verify().faults]


def test_a_history_that_nobody_has_read_hides_what_was_cut_off() -> None:
    small_history()
    cut_off_the_newest()
    assert found() == []


def test_a_follower_that_has_seen_more_is_a_fault() -> None:
    small_history()
    follow(name="alerts", handle=lambda entries: None)
    assert found() == []
    left = cut_off_the_newest()
    says = f"The follower 'alerts' has seen {left + 1} entries, the history has {left}: the newest were cut off."
    assert found() == [("history_shorter", says)]


def test_a_job_that_has_verified_more_is_a_fault() -> None:
    small_history()
    job = jobs.ask(kind="verify_record", unique_key="1", arguments={}, actor=SYSTEM, at=AT)
    run_job(job)
    assert found() == []
    left = cut_off_the_newest()
    says = f"Job {job} has verified {left + 1} entries, the history has {left}: the newest were cut off."
    assert found() == [("history_shorter", says)]


def test_a_job_that_has_not_ended_or_does_something_else_says_nothing() -> None:
    small_history()
    for kind, answer in (("verify_record", None), ("count_sheep", {"size": 5000})):
        Job.objects.create(kind=kind, unique_key="1", asked_at=AT, answer=answer)
    assert found() == []


@pytest.mark.parametrize("answer", ["many", [], {"size": "many"}, {"root": "00"}])
def test_an_answer_without_a_size_is_named(answer: object) -> None:
    small_history()
    Job.objects.create(kind="verify_record", unique_key="1", asked_at=AT, answer=answer)
    ((code, says),) = found()
    assert code == "value_strange"
    assert says.endswith("not a number of entries.")


@pytest.mark.skipif("connection.vendor != 'sqlite'", reason="only SQLite stores it")
@pytest.mark.parametrize("stored", ["'many'", "2.5", "x'01'", "CAST(x'ff' AS TEXT)"])
def test_a_mark_that_is_no_number_is_named(stored: str) -> None:
    small_history()
    Follower.objects.create(name="alerts")
    with connection.cursor() as cursor:
        cursor.execute(f"UPDATE pmcore_follower SET seen = {stored}")
    ((code, says),) = found()
    assert (code, says[:31]) == ("value_strange", "The follower 'alerts' has seen ")


def test_the_request_key_of_an_entry_is_not_part_of_the_history() -> None:
    """The guide says so: it only tells a retry from a new request."""
    small_history()
    guards.take_down(connection)
    with connection.cursor() as cursor:
        cursor.execute("UPDATE pmcore_entry SET request_key = 'another', request_digest = 'none' WHERE seq = 3")
    assert found() == []
