"""The database itself refuses to change the record, whoever asks."""

import pytest
from django.core.exceptions import ImproperlyConfigured
from django.db import IntegrityError, connection, transaction

from pmcore.checks import guards_stand, refuse_to_start_unguarded
from pmcore.models import DeviceIdentity, Entry, Placement, Text, guards
from pmcore.models.base import Recorded
from pmcore.queries.verification import verify
from tests.history import small_history
from tests.samples import Everything

pytestmark = pytest.mark.django_db

on_sqlite = pytest.mark.skipif("connection.vendor != 'sqlite'", reason="SQLite's own statement")
on_postgresql = pytest.mark.skipif("connection.vendor != 'postgresql'", reason="PostgreSQL's own statement")


def refused(statement: str, *arguments: object) -> None:
    never = pytest.raises(IntegrityError, match="the record is never changed")
    with never, transaction.atomic(), connection.cursor() as cursor:
        cursor.execute(statement, arguments)


def test_every_recorded_table_is_guarded() -> None:
    def concrete(model: type[Recorded]) -> set[type[Recorded]]:
        below = {found for child in model.__subclasses__() for found in concrete(child)}
        return below if model._meta.abstract else {model, *below}

    assert concrete(Recorded) == set(guards.GUARDED)
    assert guards.missing(connection) == []


def test_no_table_lets_a_row_be_changed_or_deleted() -> None:
    Everything().write()
    for model in guards.GUARDED:
        assert model.objects.exists(), model
        table, key = model._meta.db_table, model._meta.pk.column
        refused(f'UPDATE "{table}" SET "{key}" = "{key}"')
        refused(f'DELETE FROM "{table}"')
    # The sample names a file that was never written; nothing else is wrong.
    assert [fault.code for fault in verify().faults] == ["file_missing"]


def test_a_fact_is_replaced_once_and_never_back() -> None:
    small_history()
    refused("UPDATE pmcore_placement SET replaced_by = NULL WHERE replaced_by IS NOT NULL")
    refused("UPDATE pmcore_placement SET replaced_by = replaced_by + 1 WHERE replaced_by IS NOT NULL")


def test_nothing_else_changes_with_a_replacement() -> None:
    world = small_history()
    refused(
        "UPDATE pmcore_placement SET replaced_by = 99, area_id = %s WHERE replaced_by IS NULL AND area_id <> %s",
        world.theatre, world.theatre,
    )  # fmt: skip


def test_a_text_is_only_ever_emptied() -> None:
    small_history()
    refused("UPDATE pmcore_text SET words = 'Other words.'")
    refused("UPDATE pmcore_text SET words = NULL")
    refused("UPDATE pmcore_text SET words = NULL, salt = NULL, entry = entry + 1")


@on_postgresql
def test_truncate_is_refused() -> None:
    small_history()
    refused("TRUNCATE pmcore_placement CASCADE")


@on_sqlite
def test_insert_or_replace_is_refused() -> None:
    small_history()
    placement = Placement.objects.current().first()
    assert placement is not None
    refused(
        "INSERT OR REPLACE INTO pmcore_placement (id, entry, device_id, area_id, from_on) VALUES (%s, %s, %s, %s, %s)",
        placement.pk, placement.entry, placement.device_id, placement.area_id, "2020-01-01",
    )  # fmt: skip


@on_sqlite
def test_insert_or_replace_over_another_unique_column_is_refused() -> None:
    small_history()
    known = DeviceIdentity.objects.get()
    refused(
        "INSERT OR REPLACE INTO pmcore_deviceidentity (id, entry, device_id, device_model_id, serial) "
        "VALUES (%s, %s, %s, %s, %s)",
        10_000, known.entry, known.device_id, known.device_model_id, known.serial,
    )  # fmt: skip


def test_the_start_is_refused_where_a_guard_is_missing() -> None:
    refuse_to_start_unguarded()
    name = sorted(guards.present(connection))[0]
    table = name.removeprefix("guard_delete_").removeprefix("guard_rows_")
    with connection.cursor() as cursor:
        cursor.execute(f'DROP TRIGGER "{name}"' + (f" ON {table}" if connection.vendor == "postgresql" else ""))
    assert guards.missing(connection) == [name]
    assert guards_stand(databases=["default"])[0].id == "pmcore.E001"
    with pytest.raises(ImproperlyConfigured, match=name):
        refuse_to_start_unguarded()


def test_an_altered_guard_counts_as_missing() -> None:
    name, text = sorted(guards.present(connection).items())[0]
    table = name.removeprefix("guard_delete_").removeprefix("guard_rows_")
    with connection.cursor() as cursor:
        if connection.vendor == "sqlite":
            cursor.execute(f'DROP TRIGGER "{name}"')
            cursor.execute(text.replace("BEGIN SELECT", "WHEN 0 BEGIN SELECT"))
        else:
            cursor.execute(f"ALTER TABLE {table} DISABLE TRIGGER {name}")
    assert guards.missing(connection) == [name]


@on_postgresql
@pytest.mark.parametrize("enabled", ["ENABLE", "ENABLE REPLICA", "DISABLE"])
def test_a_guard_that_does_not_fire_always_counts_as_missing(enabled: str) -> None:
    with connection.cursor() as cursor:
        cursor.execute(f"ALTER TABLE pmcore_placement {enabled} TRIGGER guard_rows_pmcore_placement")
    assert guards.missing(connection) == ["guard_rows_pmcore_placement"]


@on_postgresql
@pytest.mark.parametrize(
    "statement",
    [
        "UPDATE pmcore_placement SET entry = entry + 1",
        "DELETE FROM pmcore_placement",
        "TRUNCATE pmcore_placement",
    ],
)
def test_a_session_that_plays_the_replica_is_refused_too(statement: str) -> None:
    """Only a superuser may play it; for any other role the database itself refuses, which `refused` would not show."""
    small_history()
    with connection.cursor() as cursor:
        cursor.execute("SELECT rolsuper FROM pg_roles WHERE rolname = current_user")
        if not cursor.fetchone()[0]:
            pytest.skip("the role of the tests is no superuser and cannot play the replica")
        cursor.execute("SET LOCAL session_replication_role = replica")
    refused(statement)


@on_postgresql
def test_a_guard_with_an_emptied_function_counts_as_missing() -> None:
    with connection.cursor() as cursor:
        cursor.execute(
            "CREATE OR REPLACE FUNCTION pmcore_guard() RETURNS trigger LANGUAGE plpgsql AS 'BEGIN RETURN NEW; END'"
        )
    assert guards.missing(connection) == sorted(guards.wanted(connection))


def test_entries_and_texts_are_guarded_too() -> None:
    assert {Entry, Text} <= set(guards.GUARDED)
