"""A nullable column added later leaves every old leaf valid, and a table rebuilt by a migration keeps its guards."""

from collections.abc import Iterator

import pytest
from django.core.management import call_command
from django.db import connection, models
from django.test import override_settings

from pmcore.models import AreaDetails, Placement, guards
from pmcore.models.rows import Row
from pmcore.queries.head import head
from pmcore.queries.tables import table_of
from pmcore.queries.verification import verify
from tests.history import MARCH, day, small_history, written

pytestmark = pytest.mark.django_db(transaction=True)


@pytest.fixture
def a_new_column() -> Iterator[str]:
    """`placement.bay`, added to the class and to the table, and taken away again."""
    field = models.CharField(max_length=20, null=True)
    field.contribute_to_class(Placement, "bay")
    guards.take_down(connection)
    with connection.schema_editor() as editor:
        editor.add_field(Placement, field)
    guards.put_up(connection)
    table_of.cache_clear()
    yield "bay"
    guards.take_down(connection)
    with connection.schema_editor() as editor:
        editor.remove_field(Placement, field)
    Placement._meta.local_fields.remove(field)
    Placement._meta._expire_cache()
    delattr(Placement, "bay")
    guards.put_up(connection)
    table_of.cache_clear()


def test_old_leaves_stay_valid_and_the_new_column_is_covered(request: pytest.FixtureRequest) -> None:
    world = small_history()
    old = verify()
    request.getfixturevalue("a_new_column")
    assert verify().root == old.root
    assert verify().sound
    row = Row(Placement, device=world.device, area=world.ward, from_on=day("2026-09-01"), bay="B2")
    written("device_placed", world.device, row)
    assert verify().sound
    guards.take_down(connection)
    with connection.cursor() as cursor:
        cursor.execute("UPDATE pmcore_placement SET bay = 'B3' WHERE from_on = %s", [MARCH])
        cursor.execute("UPDATE pmcore_placement SET bay = 'B3' WHERE bay = 'B2'")
    assert [fault.code for fault in verify().faults] == ["entry_altered", "entry_altered"]
    guards.put_up(connection)


@override_settings(MIGRATION_MODULES={"pmcore": "tests.models.rebuilding"})
def test_a_migration_that_rebuilds_a_table_leaves_the_guards_up() -> None:
    small_history()
    size = head().size
    assert guards.missing(connection) == []
    try:
        call_command("migrate", "pmcore", verbosity=0)
        with connection.cursor() as cursor:
            columns = connection.introspection.get_table_description(cursor, AreaDetails._meta.db_table)
        assert next(c for c in columns if c.name == "name").display_size == 200, "the table was not rebuilt"
        assert guards.missing(connection) == []
        assert head().size == size
        assert verify().sound
    finally:
        call_command("migrate", "pmcore", "0001", verbosity=0)
    assert guards.missing(connection) == []
