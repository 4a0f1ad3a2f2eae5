"""Whatever is handed to the writer, it answers with a refusal that names what is wrong."""

import datetime as dt
from typing import Any

import pytest

from pmcore.engines.records import SYSTEM
from pmcore.models import DueInspection, FaultDetails, FaultReport, Placement
from pmcore.models.rows import Row
from pmcore.queries.columns import BadValue
from pmcore.services.append import append, append_many
from pmcore.services.refusals import UnknownKind
from tests.cast import check_refused
from tests.history import AT, MARCH, World, a_move, small_world, written

pytestmark = pytest.mark.django_db


def name_of(value: Any) -> str:
    return type(value).__name__  # a number of thousands of digits has no text to name a test by


HUGE = 10**5000
WEST = dt.timezone(-dt.timedelta(hours=12))
EAST = dt.timezone(dt.timedelta(hours=12))


@pytest.fixture
def world() -> World:
    return small_world()


@pytest.mark.parametrize(
    "at",
    [
        None,
        "2026-10-31",
        dt.date(2026, 10, 31),
        dt.datetime(2026, 10, 31),  # noqa: DTZ001
        dt.datetime(1, 1, 1, tzinfo=EAST),
        dt.datetime(9999, 12, 31, 23, tzinfo=WEST),
        dt.datetime(1999, 12, 31, tzinfo=dt.UTC),
        dt.datetime(2201, 1, 1, tzinfo=dt.UTC),
    ],
)
def test_a_moment_that_is_none_of_ours(world: World, at: Any) -> None:
    with check_refused(BadValue, r"entry\.at"):
        a_move(world, world.ward, MARCH, at=at)


@pytest.mark.parametrize(
    "at", [dt.datetime(1, 1, 1, tzinfo=EAST), dt.datetime(9999, 12, 31, 23, tzinfo=WEST), HUGE], ids=name_of
)
def test_a_moment_in_a_column_that_is_none_of_ours(world: World, at: Any) -> None:
    report = Row(FaultReport, device=world.device)
    details = Row(FaultDetails, fault_report=report, seen_at=at, seen_on=MARCH, account="It creaks.")
    with check_refused(BadValue, r"fault_details\.seen_at"):
        written("fault_reported", world.device, report, details)


def test_the_first_and_the_last_moment_are_taken(world: World) -> None:
    a_move(world, world.ward, MARCH, at=dt.datetime(2000, 1, 1, tzinfo=dt.UTC))
    assert a_move(world, world.ward, MARCH, at=dt.datetime(2200, 12, 31, 23, tzinfo=dt.UTC)).seq


@pytest.mark.parametrize("rows", [None, "rows", 7, {}, iter(())])
def test_rows_that_are_no_list(world: World, rows: Any) -> None:
    with check_refused(BadValue, r"entry\.rows"):
        append("device_placed", world.device, rows, actor=SYSTEM, at=AT)


@pytest.mark.parametrize("row", [None, "row", Row([]), Row(7)])  # type: ignore[arg-type]
def test_a_row_that_is_none(world: World, row: Any) -> None:
    with check_refused(BadValue, r"entry\.rows"):
        append("device_placed", world.device, [row], actor=SYSTEM, at=AT)


def test_a_row_of_a_table_that_is_no_record(world: World) -> None:
    with check_refused(UnknownKind, "holds no row int"):
        append("device_placed", world.device, [Row(int)], actor=SYSTEM, at=AT)  # type: ignore[arg-type]


@pytest.mark.parametrize("replaces", [None, "7", Placement(pk=7)])
def test_replaced_facts_that_are_no_list(world: World, replaces: Any) -> None:
    with check_refused(BadValue, r"entry\.replaces"):
        a_move(world, world.ward, MARCH, replaces=replaces)


@pytest.mark.parametrize("kind", [[], None, 7, HUGE, "k" * 10_000], ids=name_of)
def test_a_kind_that_is_none(world: World, kind: Any) -> None:
    with check_refused(UnknownKind, "no kind of entry"):
        append(kind, world.device, [Row(Placement)], actor=SYSTEM, at=AT)


@pytest.mark.parametrize("subject", [None, "7", HUGE, -1, 0, True, [7], 7.0], ids=name_of)
def test_a_subject_that_is_no_id(world: World, subject: Any) -> None:
    with check_refused(BadValue, r"entry\.subject"):
        append("device_placed", subject, [Row(Placement)], actor=SYSTEM, at=AT)


@pytest.mark.parametrize("number", [HUGE, -HUGE, 2**53, float("nan"), object()], ids=name_of)
def test_a_number_past_all_text(world: World, number: Any) -> None:
    row = Row(
        DueInspection, device=world.device, plan=number, procedure=world.procedure, due_on=MARCH, opens_on=MARCH,
        closes_on=MARCH,
    )  # fmt: skip
    with check_refused(BadValue, r"due_inspection\.plan"):
        written("inspections_due", world.device, row)


@pytest.mark.parametrize("drafts", [None, "drafts", 7])
def test_drafts_that_are_no_list(world: World, drafts: Any) -> None:
    with check_refused(BadValue, r"entry\.drafts"):
        append_many(drafts, actor=SYSTEM, at=AT)


def test_a_note_that_is_no_text(world: World) -> None:
    for note in (7, HUGE, b"words", ""):
        with check_refused(BadValue, r"entry\.note"):
            a_move(world, world.ward, MARCH, note=note)
