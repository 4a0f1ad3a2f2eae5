"""Whatever is stored, verification ends in a report that names it, and the rest of the record is still verified.

The guards are taken down first, as somebody with the database's password would. What a column refuses on PostgreSQL is
tried where it can be stored.
"""

import pytest
from django.db import connection

from pmcore.models import Entry, Placement, Text, guards
from pmcore.queries.verification import verify
from tests.history import MARCH, World, day, small_history

pytestmark = pytest.mark.django_db

on_sqlite = pytest.mark.skipif("connection.vendor != 'sqlite'", reason="only SQLite stores it")
on_postgresql = pytest.mark.skipif("connection.vendor != 'postgresql'", reason="only PostgreSQL stores it")

NO_UTF8 = "CAST(x'ff41' AS TEXT)"
TAIL = "UPDATE pmcore_areadetails SET name = 'Ward 7' WHERE name = 'Ward 6'"  # beside each strange value


def run(statement: str) -> None:
    with connection.cursor() as cursor:
        cursor.execute(statement)
        assert cursor.rowcount, "the alteration touched nothing"


def found_after(*statements: str) -> set[tuple[str, str]]:
    """Code and sentence of each fault after these alterations, and after one elsewhere, which must be found too."""
    guards.take_down(connection)
    for statement in (*statements, TAIL):
        run(statement)
    faults = {(fault.code, fault.says) for fault in verify().faults}
    assert any(code == "entry_altered" and says.startswith("Entry 3 (area_opened") for code, says in faults), faults
    return faults


def names(faults: set[tuple[str, str]], code: str, part: str) -> bool:
    return any(found == code and part in says for found, says in faults)


def moved(world: World) -> Placement:
    return Placement.objects.current().get(device=world.device, from_on=day("2026-04-01"))


@pytest.mark.parametrize(
    ("column", "stored", "said"),
    [
        ("from_on", "x'32303236'", "from_on holds 4 bytes, not a day"),
        ("from_on", NO_UTF8, "from_on holds text that is no UTF-8, not a day"),
        ("from_on", "'2026-02-30'", "from_on holds the text '2026-02-30', not a day"),
        ("from_on", "20260401", "from_on holds 20260401, not a day"),
        ("area_id", "'ward'", "area holds the text 'ward', not a whole number"),
        ("area_id", "2.5", "area holds 2.5, not a whole number"),
        ("area_id", "x'01'", "area holds 1 bytes, not a whole number"),
        ("area_id", NO_UTF8, "area holds text that is no UTF-8, not a whole number"),
    ],
)
@on_sqlite
def test_a_value_that_its_column_cannot_hold_is_named_with_its_row(column: str, stored: str, said: str) -> None:
    moved_id = moved(small_history()).pk
    faults = found_after(f"UPDATE pmcore_placement SET {column} = {stored} WHERE id = {moved_id}")
    assert names(faults, "value_strange", f"placement {moved_id}: {said}"), faults


@pytest.mark.parametrize("stored", ["'one'", "2.5", "x'01'", NO_UTF8])
@on_sqlite
def test_a_row_that_names_no_entry_is_one_of_another(stored: str) -> None:
    moved_id = moved(small_history()).pk
    faults = found_after(f"UPDATE pmcore_placement SET entry = {stored} WHERE id = {moved_id}")
    assert names(faults, "row_of_another", f"placement {moved_id} says entry"), faults


@pytest.mark.parametrize("stored", ["'nobody'", "5.5", "x'01'", NO_UTF8])
@on_sqlite
def test_a_replacement_by_no_number_is_named(stored: str) -> None:
    small_history()
    replaced = Placement.objects.get(from_on=MARCH)
    faults = found_after(f"UPDATE pmcore_placement SET replaced_by = {stored} WHERE id = {replaced.pk}")
    assert names(faults, "value_strange", f"placement {replaced.pk}: replaced_by holds"), faults
    assert names(faults, "entry_altered", f"Entry {replaced.replaced_by} (device_placed"), faults


@pytest.mark.parametrize(
    ("column", "stored", "said"),
    [
        ("at", "x'00'", "at holds 1 bytes, not a moment"),
        ("at", "'2026-10-31T07:00:00'", "at holds the text '2026-10-31T07:00:00', not a moment"),
        ("at", "'2026-10-31 07:00'", "at holds the text '2026-10-31 07:00', not a moment"),
        ("at", "'2026-10-31 25:00:00'", "at holds the text '2026-10-31 25:00:00', not a moment"),
        ("kind", "x'00'", "kind holds 1 bytes, not text"),
        ("kind", NO_UTF8, "kind holds text that is no UTF-8, not text"),
        ("subject", "'area'", "subject holds the text 'area', not a whole number"),
        ("person", "'Ines'", "person holds the text 'Ines', not a whole number"),
        ("person", "1.5", "person holds 1.5, not a whole number"),
        ("role", "x'00'", "role holds 1 bytes, not text"),
        ("note_id", "x'00'", "note holds 1 bytes, not text"),
        ("note_id", NO_UTF8, "note holds text that is no UTF-8, not text"),
        ("leaf", "'a leaf'", "leaf holds the text 'a leaf', not bytes"),
        ("leaf", "7", "leaf holds 7, not bytes"),
        ("leaf", NO_UTF8, "leaf holds text that is no UTF-8, not bytes"),
    ],
)
@on_sqlite
def test_a_value_that_an_entry_cannot_hold_is_named(column: str, stored: str, said: str) -> None:
    small_history()
    faults = found_after(f"UPDATE pmcore_entry SET {column} = {stored} WHERE seq = 5")
    assert names(faults, "value_strange", f"Entry 5: {said}"), faults


@pytest.mark.parametrize("stored", ["'edge'", "7", "x'0102'", NO_UTF8])
@on_sqlite
def test_an_edge_of_another_type_is_an_altered_one(stored: str) -> None:
    small_history()
    faults = found_after(f"UPDATE pmcore_entry SET edge = {stored} WHERE seq = 5")
    assert names(faults, "edge_altered", "at entry 5"), faults


@pytest.mark.parametrize("stored", ["'the end'", "2.5", "x'01'", NO_UTF8])
@on_sqlite
def test_an_entry_that_ends_at_no_number_keeps_its_rows(stored: str) -> None:
    small_history()
    faults = found_after(f"UPDATE pmcore_entry SET last_id = {stored} WHERE seq = 5")
    assert names(faults, "entry_end_altered", "Entry 5 says that its rows end with"), faults
    assert not any(says.startswith("Entry 6") for _, says in faults)


@pytest.mark.parametrize("end", ["4000000000000000", "-1", "0"])
def test_an_entry_that_ends_too_far_off_takes_no_row_of_others(end: str) -> None:
    small_history()
    faults = found_after(f"UPDATE pmcore_entry SET last_id = {end} WHERE seq = 5")
    assert {says for code, says in faults if code != "entry_altered"} == {
        says for code, says in faults if code == "entry_end_altered" and says.startswith("Entry 5 says")
    }
    assert len(faults) == 2


@pytest.mark.parametrize("stored", ["'the end'", "x'01'"])
@on_sqlite
def test_a_newest_entry_that_ends_at_no_number_is_named(stored: str) -> None:
    small_history()
    newest = Entry.objects.count()
    faults = found_after(f"UPDATE pmcore_entry SET last_id = {stored} WHERE seq = {newest}")
    assert names(faults, "entry_end_altered", f"Entry {newest} says"), faults


@pytest.mark.parametrize("length", [0, 31, 33])
def test_a_leaf_of_another_length_is_named(length: int) -> None:
    small_history()
    leaf = f"x'{'00' * length}'" if connection.vendor == "sqlite" else f"decode('{'00' * length}', 'hex')"
    faults = found_after(f"UPDATE pmcore_entry SET leaf = {leaf} WHERE seq = 5")
    assert names(faults, "leaf_malformed", f"Entry 5: its leaf has {length} bytes"), faults
    assert not names(faults, "root_differs", "")


@pytest.mark.parametrize("length", [0, 31, 64])
def test_a_newest_edge_of_another_length_is_a_damaged_head(length: int) -> None:
    small_history()
    newest = Entry.objects.count()
    edge = f"x'{'00' * length}'" if connection.vendor == "sqlite" else f"decode('{'00' * length}', 'hex')"
    faults = found_after(f"UPDATE pmcore_entry SET edge = {edge} WHERE seq = {newest}")
    assert names(faults, "edge_altered", f"at entry {newest}"), faults
    expected = "root_differs" if newest.bit_count() * 32 == length else "head_damaged"
    assert names(faults, expected, ""), faults


def test_without_the_newest_edge_the_rest_is_verified() -> None:
    small_history()
    newest = Entry.objects.count()
    faults = found_after(f"UPDATE pmcore_entry SET edge = NULL WHERE seq = {newest}")
    assert names(faults, "head_damaged", f"Entry {newest} is the newest"), faults


@pytest.mark.parametrize(
    ("column", "stored", "said"),
    [
        ("salt", "'salt'", "salt holds the text 'salt', not bytes"),
        ("salt", "7", "salt holds 7, not bytes"),
        ("salt", NO_UTF8, "salt holds text that is no UTF-8, not bytes"),
        ("words", "x'00'", "words holds 1 bytes, not text"),
        ("words", NO_UTF8, "words holds text that is no UTF-8, not text"),
    ],
)
@on_sqlite
def test_a_text_of_another_type_is_named(column: str, stored: str, said: str) -> None:
    small_history()
    digest = Text.objects.get(words="Ines Caddock").digest
    faults = found_after(f"UPDATE pmcore_text SET {column} = {stored} WHERE digest = '{digest}'")
    assert names(faults, "value_strange", f"A text {digest[:12]}… of entry 4: {said}"), faults
    assert names(faults, "text_altered", digest[:12]), faults


@pytest.mark.parametrize(
    ("column", "stored", "said"),
    [
        ("entry", "'four'", "entry holds the text 'four', not a whole number"),
        ("entry", "4.5", "entry holds 4.5, not a whole number"),
        ("entry", "x'04'", "entry holds 1 bytes, not a whole number"),
        ("entry", NO_UTF8, "entry holds text that is no UTF-8, not a whole number"),
        ("digest", "x'00'", "digest holds 1 bytes, not text"),
    ],
)
@on_sqlite
def test_a_text_that_has_no_place_is_named_and_missed(column: str, stored: str, said: str) -> None:
    small_history()
    digest = Text.objects.get(words="Ines Caddock").digest
    faults = found_after(f"UPDATE pmcore_text SET {column} = {stored} WHERE digest = '{digest}'")
    assert names(faults, "value_strange", said), faults
    assert names(faults, "text_missing", f"{digest[:12]}… of entry 4"), faults


@on_sqlite
def test_a_digest_that_is_no_utf8_belongs_to_no_row() -> None:
    small_history()
    digest = Text.objects.get(words="Ines Caddock").digest
    faults = found_after(f"UPDATE pmcore_text SET digest = {NO_UTF8} WHERE digest = '{digest}'")
    assert names(faults, "text_unowned", "\\udcffA"), faults
    assert names(faults, "text_missing", digest[:12]), faults


@pytest.mark.parametrize("stored", ["infinity", "-infinity", "0044-03-15 BC", "20000-01-01"])
@on_postgresql
def test_a_day_that_no_calendar_has_is_named(stored: str) -> None:
    moved_id = moved(small_history()).pk
    faults = found_after(f"UPDATE pmcore_placement SET from_on = '{stored}' WHERE id = {moved_id}")
    assert names(faults, "value_strange", f"placement {moved_id}: from_on holds the text '{stored}', not a day"), faults


@pytest.mark.parametrize("stored", ["infinity", "-infinity", "0044-03-15 07:00:00 BC", "20000-01-01 07:00:00"])
@on_postgresql
def test_a_moment_that_no_calendar_has_is_named(stored: str) -> None:
    small_history()
    faults = found_after(f"UPDATE pmcore_entry SET at = '{stored}' WHERE seq = 5")
    assert names(faults, "value_strange", f"Entry 5: at holds the text '{stored}', not a moment"), faults


@pytest.mark.parametrize(
    ("table", "column", "where", "said"),
    [
        ("entry", "at", "seq = 5", "Entry 5: at holds nothing, not a moment"),
        ("entry", "kind", "seq = 5", "Entry 5: kind holds nothing, not text"),
        ("entry", "subject", "seq = 5", "Entry 5: subject holds nothing, not a whole number"),
        ("entry", "leaf", "seq = 5", "Entry 5: leaf holds nothing, not bytes"),
        ("placement", "from_on", "from_on = '2026-04-01'", "from_on holds nothing, not a day"),
        ("areadetails", "closed", "name = 'Theatre 1'", "closed holds nothing, not true or false"),
        ("deviceidentity", "serial", "serial = 'OM-1'", "serial holds nothing, not text"),
    ],
)
@on_postgresql
def test_nothing_where_something_must_stand_is_named(table: str, column: str, where: str, said: str) -> None:
    small_history()
    with connection.cursor() as cursor:
        cursor.execute(f"ALTER TABLE pmcore_{table} ALTER COLUMN {column} DROP NOT NULL")
    faults = found_after(f"UPDATE pmcore_{table} SET {column} = NULL WHERE {where}")
    assert names(faults, "value_strange", said), faults


@on_postgresql
def test_a_row_without_a_number_is_named() -> None:
    world = small_history()
    with connection.cursor() as cursor:
        cursor.execute("ALTER TABLE pmcore_placement DROP CONSTRAINT pmcore_placement_pkey")
        cursor.execute("ALTER TABLE pmcore_placement ALTER COLUMN id DROP NOT NULL")
    faults = found_after(
        "INSERT INTO pmcore_placement (id, entry, device_id, area_id, from_on) "
        f"VALUES (NULL, 1, {world.device}, {world.ward}, '2026-09-01')"
    )
    assert names(faults, "value_strange", "a placement: id holds nothing"), faults


@on_sqlite
def test_a_correction_cannot_hide_in_the_author() -> None:
    """Text in a column of numbers stands bare in the body; it could pose as the list of what the entry replaces."""
    small_history()
    replaced = Placement.objects.get(from_on=MARCH)
    person = Entry.objects.get(seq=replaced.replaced_by).person
    assert person is None
    faults = found_after(
        f"""UPDATE pmcore_entry SET person = '1,"replaces":[{replaced.pk}]' WHERE seq = {replaced.replaced_by}""",
        f"UPDATE pmcore_placement SET replaced_by = NULL WHERE id = {replaced.pk}",
    )
    assert names(faults, "value_strange", f"Entry {replaced.replaced_by}: person holds the text"), faults


def test_an_entry_before_the_first_is_named() -> None:
    small_history()
    faults = found_after(
        "INSERT INTO pmcore_entry (seq, at, kind, subject, role, last_id, leaf) "
        "SELECT -5, at, kind, subject, role, 0, leaf FROM pmcore_entry WHERE seq = 3"
    )
    assert names(faults, "entry_misnumbered", "There is an entry -5"), faults
    assert len(faults) == 2


@on_sqlite
def test_what_is_quoted_cannot_forge_a_line_of_the_report() -> None:
    small_history()
    faults = found_after("UPDATE pmcore_entry SET kind = 'x' || char(10) || 'All is well.' WHERE seq = 5")
    assert names(faults, "entry_altered", "Entry 5 (x\\nAll is well., about"), faults
    assert all(says.isprintable() for _, says in faults)
