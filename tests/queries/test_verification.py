"""verify_history finds each alteration that somebody with the database's password could make, and names it.

The guards are taken down first, as such a person would.
"""

from collections.abc import Callable
from io import StringIO

import pytest
from django.core.management import call_command
from django.db import connection

from pmcore.models import Entry, Placement, Text, guards
from pmcore.queries.verification import verify
from tests.history import MARCH, World, day, small_history

pytestmark = pytest.mark.django_db


def run(statement: str, *arguments: object) -> None:
    with connection.cursor() as cursor:
        cursor.execute(statement, arguments)
        assert cursor.rowcount, "the alteration touched nothing"


def current_placement(world: World) -> int:
    return int(Placement.objects.current().get(device=world.device, from_on=day("2026-04-01")).pk)


def newest() -> int:
    return int(Entry.objects.order_by("-seq").values_list("seq", flat=True)[0])


def a_column(world: World) -> str:
    run("UPDATE pmcore_placement SET from_on = '2026-04-02' WHERE id = %s", current_placement(world))
    return f"placement {current_placement_on(world, '2026-04-02')}"


def current_placement_on(world: World, on: str) -> int:
    return int(Placement.objects.current().get(device=world.device, from_on=day(on)).pk)


def a_reference(world: World) -> str:
    run("UPDATE pmcore_placement SET area_id = %s WHERE id = %s", world.theatre, current_placement(world))
    return f"placement {current_placement(world)}"


def one_character(world: World) -> str:
    run("UPDATE pmcore_deviceidentity SET serial = 'OM-l' WHERE serial = 'OM-1'")
    return "device_identity"


def a_flag(world: World) -> str:
    run("UPDATE pmcore_areadetails SET closed = NOT closed WHERE name = 'Ward 6'")
    return "area_details"


def a_null_filled(world: World) -> str:
    run("UPDATE pmcore_modeldetails SET mains = FALSE")
    return "model_details"


def a_moment_in_another_form(world: World) -> str:
    if connection.vendor == "sqlite":
        run("UPDATE pmcore_entry SET at = replace(at, ' ', 'T') WHERE seq = 3")
    else:
        run("UPDATE pmcore_entry SET at = at + interval '1 microsecond' WHERE seq = 3")
    return "Entry 3 (area_opened"


def a_column_hidden_in_another(world: World) -> str:
    """SQLite keeps text where numbers belong; it must not be able to pose as the columns that follow."""
    pretence = f'{world.device},"from_on":"2026-01-01"'
    if connection.vendor == "sqlite":
        run("UPDATE pmcore_placement SET device_id = %s WHERE id = %s", pretence, current_placement(world))
    else:
        run("UPDATE pmcore_placement SET device_id = device_id + 1 WHERE id = %s", current_placement(world))
    return "Entry"


def a_flag_in_another_form(world: World) -> str:
    if connection.vendor == "sqlite":
        run("UPDATE pmcore_areadetails SET closed = 'false' WHERE name = 'Ward 6'")
    else:
        run("UPDATE pmcore_areadetails SET closed = TRUE WHERE name = 'Ward 6'")
    return "Entry 3 (area_opened"


def a_day_in_another_form(world: World) -> str:
    if connection.vendor == "sqlite":
        run("UPDATE pmcore_placement SET from_on = '20260401' WHERE id = %s", current_placement(world))
        return "placement"
    run("UPDATE pmcore_placement SET from_on = '0026-04-01' WHERE id = %s", current_placement(world))
    return "placement"


def a_due_date(world: World) -> str:
    run("UPDATE pmcore_dueinspection SET closes_on = '2026-07-16' WHERE closes_on = '2026-07-15'")
    return "due_inspection"


def a_fact_deleted(world: World) -> str:
    gone = current_placement(world)
    run("DELETE FROM pmcore_placement WHERE id = %s", gone)
    return f"Row {gone} is missing from entry"


def a_thing_deleted(world: World) -> str:
    gone = int(Entry.objects.get(kind="inspections_due").last_id)
    run("DELETE FROM pmcore_dueinspection WHERE id = %s", gone)
    return f"Row {gone} is missing from entry"


def a_row_slipped_in_at_the_end(world: World) -> str:
    run(
        "INSERT INTO pmcore_placement (id, entry, device_id, area_id, from_on) VALUES (900, %s, %s, %s, '2026-09-01')",
        newest(), world.device, world.ward,
    )  # fmt: skip
    return "placement 900 belongs to no entry"


def a_row_slipped_in_before_the_first(world: World) -> str:
    run(
        "INSERT INTO pmcore_placement (id, entry, device_id, area_id, from_on) VALUES (-1, 1, %s, %s, '2026-09-01')",
        world.device, world.ward,
    )  # fmt: skip
    return "placement -1 belongs to no entry"


def a_row_doubled_in_another_table(world: World) -> str:
    run("INSERT INTO pmcore_site (id, entry) VALUES (%s, %s)", current_placement(world), newest())
    return f"site {current_placement(world)}"


def a_row_given_to_another_entry(world: World) -> str:
    run("UPDATE pmcore_placement SET entry = entry - 1 WHERE id = %s", current_placement(world))
    return f"placement {current_placement(world)} says entry"


def a_correction_undone(world: World) -> str:
    run("UPDATE pmcore_placement SET replaced_by = NULL WHERE from_on = '2026-03-01'")
    return f"Entry {Placement.objects.get(from_on=MARCH).entry + 1} (device_placed"


def a_correction_invented(world: World) -> str:
    run("UPDATE pmcore_placement SET replaced_by = %s WHERE id = %s", newest(), current_placement(world))
    return f"Entry {newest()} (inspections_due"


def a_correction_moved_in_time(world: World) -> str:
    run("UPDATE pmcore_placement SET replaced_by = replaced_by + 1 WHERE from_on = '2026-03-01'")
    return f"Entry {Placement.objects.get(from_on=MARCH).entry + 1} (device_placed"


def a_correction_by_nobody(world: World) -> str:
    run("UPDATE pmcore_placement SET replaced_by = 5000 WHERE id = %s", current_placement(world))
    return "is replaced by 5000, no such entry"


def the_moment_of_an_entry(world: World) -> str:
    run("UPDATE pmcore_entry SET at = '2026-10-30 07:00:00' WHERE seq = 3")
    return "Entry 3 (area_opened"


def the_author_of_an_entry(world: World) -> str:
    run("UPDATE pmcore_entry SET person = %s WHERE seq = 3", world.person)
    return "Entry 3 (area_opened"


def the_kind_of_an_entry(world: World) -> str:
    run("UPDATE pmcore_entry SET kind = 'area_described' WHERE seq = 3")
    return "Entry 3 (area_described) holds no area"


def the_subject_of_an_entry(world: World) -> str:
    run("UPDATE pmcore_entry SET subject = %s WHERE seq = 3", world.theatre)
    return "Entry 3 (area_opened"


def a_leaf(world: World) -> str:
    run("UPDATE pmcore_entry SET leaf = (SELECT leaf FROM pmcore_entry WHERE seq = 4) WHERE seq = 3")
    return "Entry 3 (area_opened"


def an_edge(world: World) -> str:
    run("UPDATE pmcore_entry SET edge = leaf WHERE seq = 2")
    return "edge of the tree at entry 2"


def an_entry_deleted(world: World) -> str:
    run("DELETE FROM pmcore_entry WHERE seq = 3")
    return "Entry 3 is missing"


def the_first_entries_deleted(world: World) -> str:
    run("DELETE FROM pmcore_entry WHERE seq <= 2")
    return "Entry 1 to 2 is missing"


def where_an_entry_ends(world: World) -> str:
    run("UPDATE pmcore_entry SET last_id = last_id - 1 WHERE seq = 3")
    return "Entry 3 (area_opened"


def words_of_a_note(world: World) -> str:
    run("UPDATE pmcore_text SET words = 'Asked for by nobody.' WHERE words = 'Asked for by the ward.'")
    return "A text"


def a_salt(world: World) -> str:
    digest = Text.objects.get(words="Ines Caddock").digest
    run("UPDATE pmcore_text SET salt = (SELECT salt FROM pmcore_text WHERE digest <> %s LIMIT 1) WHERE digest = %s",
        digest, digest)  # fmt: skip
    return f"A text {digest[:12]}"


def a_text_emptied_without_a_redaction(world: World) -> str:
    digest = Text.objects.get(words="Ines Caddock").digest
    run("UPDATE pmcore_text SET words = NULL, salt = NULL WHERE digest = %s", digest)
    return "was emptied without a redaction"


def a_text_deleted(world: World) -> str:
    digest = Text.objects.get(words="Ines Caddock").digest
    run("DELETE FROM pmcore_text WHERE digest = %s", digest)
    return f"A text {digest[:12]}… of entry 4 is missing"


def a_text_slipped_in(world: World) -> str:
    run("INSERT INTO pmcore_text (digest, entry, salt, words) VALUES (%s, 3, NULL, NULL)", "0" * 64)
    return "The text 000000000000"


ALTERATIONS: list[Callable[[World], str]] = [
    a_moment_in_another_form, a_column_hidden_in_another, a_flag_in_another_form, a_day_in_another_form,
    a_column, a_reference, one_character, a_flag, a_null_filled, a_due_date, a_fact_deleted, a_thing_deleted,
    a_row_slipped_in_at_the_end, a_row_slipped_in_before_the_first, a_row_doubled_in_another_table,
    a_row_given_to_another_entry, a_correction_undone, a_correction_invented, a_correction_moved_in_time,
    a_correction_by_nobody, the_moment_of_an_entry, the_author_of_an_entry, the_kind_of_an_entry,
    the_subject_of_an_entry, a_leaf, an_edge, an_entry_deleted, the_first_entries_deleted, where_an_entry_ends,
    words_of_a_note, a_salt, a_text_emptied_without_a_redaction, a_text_deleted, a_text_slipped_in,
]  # fmt: skip


@pytest.mark.parametrize("alter", ALTERATIONS, ids=lambda alter: alter.__name__)
def test_an_alteration_is_found_by_name(alter: Callable[[World], str]) -> None:
    world = small_history()
    assert verify().sound
    guards.take_down(connection)
    named = alter(world)
    report = verify()
    assert not report.sound
    assert any(named in str(fault) for fault in report.faults), [str(fault) for fault in report.faults]


def test_a_sound_history_has_the_stored_root_and_every_row() -> None:
    small_history()
    report = verify()
    newest_entry = Entry.objects.order_by("-seq").first()
    assert newest_entry is not None
    assert (report.size, report.rows) == (newest_entry.seq, newest_entry.last_id)
    assert report.faults == []


def test_the_command_says_what_is_wrong_and_exits_with_one() -> None:
    world = small_history()
    guards.take_down(connection)
    a_column(world)
    said = StringIO()
    with pytest.raises(SystemExit) as status:
        call_command("verify_history", quiet=True, stdout=said)
    assert status.value.code == 1
    assert "is not what was recorded" in said.getvalue()


def test_the_command_shows_progress_and_the_root() -> None:
    small_history()
    said, progress = StringIO(), StringIO()
    call_command("verify_history", stdout=said, stderr=progress)
    assert verify().root in said.getvalue()
    assert "100 %" in progress.getvalue()


def test_an_empty_record_is_sound() -> None:
    report = verify()
    assert report.sound
    assert report.size == 0
