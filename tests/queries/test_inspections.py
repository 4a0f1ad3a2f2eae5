"""Which inspections are complete, as known at a size of the history."""

import datetime as dt
from dataclasses import replace
from typing import Any

import pytest

from pmcore.engines.due_status import DueState, state_on
from pmcore.engines.records import SYSTEM, DueInspection
from pmcore.engines.vocabulary import InspectionKind, Outcome
from pmcore.models import Calibration, ProcedureSheet
from pmcore.models.rows import Row
from pmcore.queries import inspections
from pmcore.queries.head import head
from pmcore.queries.holds import holds_in_force
from pmcore.queries.inspections import CompletedInspection, completed
from tests.bench_cast import (
    BRAKES,
    CLOSES,
    DUE,
    LABELS,
    OPENS,
    RAISING,
    Bench,
    a_bench,
    a_device_in,
    a_repair,
    a_version,
    inspection_of,
    moment,
    recorded,
)
from tests.cast import a_device
from tests.history import day, written

pytestmark = pytest.mark.django_db

JUNE_15 = moment(6, 15)
JULY_31 = day("2026-07-31")


@pytest.fixture
def bench() -> Bench:
    return a_bench()


def of(device: int, known: int | None = None) -> list[CompletedInspection]:
    return completed([device], head().size if known is None else known)


def state_of_the_due_inspection(device: int) -> DueState:
    days = [done.performed_on for done in of(device)]
    return state_on(DueInspection(OPENS, DUE, CLOSES, completed_on=min(days, default=None)), JULY_31)


def test_all_that_is_said_of_a_complete_inspection(bench: Bench) -> None:
    receipt = recorded(bench, JUNE_15, at=moment(6, 17))
    assert of(bench.device) == [
        CompletedInspection(
            inspection=inspection_of(receipt),
            device=bench.device,
            kind="scheduled",
            procedure=bench.procedure,
            version=bench.version,
            site=bench.alderwick,
            performed_on=day("2026-06-15"),
            performed_at=JUNE_15,
            entry=receipt.seq,
            recorded_on=day("2026-06-17"),
            failed=False,
        )
    ]


def test_done_ten_minutes_before_the_window_ends_it_is_met(bench: Bench) -> None:
    """07-15 at 23:50, five hours behind UTC: met."""
    device = a_device_in("America/Chicago", bench)
    recorded(bench, dt.datetime(2026, 7, 16, 4, 50, tzinfo=dt.UTC), device=device, actor=SYSTEM)
    assert state_of_the_due_inspection(device) is DueState.MET


def test_ended_after_the_window_it_is_late(bench: Bench) -> None:
    """First steps 07-10, the last mandatory one 07-18: late."""
    first = recorded(bench, moment(7, 10), BRAKES)
    assert state_of_the_due_inspection(bench.device) is DueState.OVERDUE
    recorded(bench, moment(7, 18), RAISING, bench.leakage(), inspection=inspection_of(first))
    assert state_of_the_due_inspection(bench.device) is DueState.MET_LATE


def test_complete_and_failed_it_is_met_and_the_device_is_held(bench: Bench) -> None:
    recorded(bench, JUNE_15, replace(BRAKES, outcome=Outcome.FAILED), RAISING, bench.leakage())
    assert [done.failed for done in of(bench.device)] == [True]
    assert state_of_the_due_inspection(bench.device) is DueState.MET
    assert len(holds_in_force(bench.device, JULY_31, head().size)) == 1


def test_not_tested_is_no_answer_and_protection_that_operated_is_one(bench: Bench) -> None:
    recorded(bench, JUNE_15, BRAKES, RAISING, bench.leakage(None, outcome=Outcome.NOT_TESTED))
    assert of(bench.device) == []
    operated = replace(RAISING, outcome=Outcome.PROTECTION_OPERATED)
    recorded(bench, moment(6, 16), BRAKES, operated, bench.leakage())
    assert [(done.performed_on, done.failed) for done in of(bench.device)] == [(day("2026-06-16"), False)]


def test_what_is_not_mandatory_moves_no_day(bench: Bench) -> None:
    first = recorded(bench, JUNE_15, LABELS)
    recorded(bench, moment(6, 16), inspection=inspection_of(first))
    assert [done.performed_on for done in of(bench.device)] == [day("2026-06-16")]


def test_parts_more_than_two_weeks_apart_are_asked_again(bench: Bench) -> None:
    first = recorded(bench, moment(6, 1), BRAKES)
    further = {"inspection": inspection_of(first)}
    recorded(bench, moment(6, 16), RAISING, bench.leakage(), **further)
    assert of(bench.device) == []
    recorded(bench, moment(6, 17), BRAKES, **further)
    assert [done.performed_on for done in of(bench.device)] == [day("2026-06-17")]


def test_a_repair_between_asks_again_for_the_steps_of_its_subsystem(bench: Bench) -> None:
    further = {"inspection": inspection_of(recorded(bench, JUNE_15, BRAKES, RAISING))}
    a_repair(bench.device, moment(6, 16), "drive")
    recorded(bench, moment(6, 17), bench.leakage(), **further)
    assert of(bench.device) == []
    recorded(bench, moment(6, 18), RAISING, **further)
    assert [done.performed_on for done in of(bench.device)] == [day("2026-06-18")]


def test_a_repair_elsewhere_asks_for_nothing(bench: Bench) -> None:
    further = {"inspection": inspection_of(recorded(bench, JUNE_15, BRAKES, RAISING))}
    a_repair(bench.device, moment(6, 16), "covers_and_guards")
    recorded(bench, moment(6, 17), bench.leakage(), **further)
    assert [done.performed_on for done in of(bench.device)] == [day("2026-06-17")]


def test_a_repair_of_which_nobody_said_what_it_touched_asks_for_everything(bench: Bench) -> None:
    further = {"inspection": inspection_of(recorded(bench, JUNE_15, BRAKES, RAISING))}
    a_repair(bench.device, moment(6, 16))
    recorded(bench, moment(6, 17), bench.leakage(), **further)
    recorded(bench, moment(6, 18), BRAKES, **further)
    assert of(bench.device) == []
    recorded(bench, moment(6, 19), RAISING, **further)
    assert [done.performed_on for done in of(bench.device)] == [day("2026-06-19")]


def test_a_repair_before_or_after_an_inspection_changes_nothing(bench: Bench) -> None:
    a_repair(bench.device, moment(6, 14))
    recorded(bench, JUNE_15)
    a_repair(bench.device, moment(6, 16))
    assert [done.performed_on for done in of(bench.device)] == [day("2026-06-15")]


def test_the_last_answer_says_whether_it_failed(bench: Bench) -> None:
    failing = replace(BRAKES, outcome=Outcome.FAILED)
    further = {"inspection": inspection_of(recorded(bench, JUNE_15, failing, RAISING))}
    a_repair(bench.device, moment(6, 16), "brakes_and_mobility")
    recorded(bench, moment(6, 17), BRAKES, bench.leakage(), **further)
    assert [done.failed for done in of(bench.device)] == [False]


def test_finished_on_a_newer_version_it_answers_the_newer_sheet(bench: Bench) -> None:
    newer = a_version(bench.procedure, 2, bench, approved_from=day("2026-06-16"))
    further = {"inspection": inspection_of(recorded(bench, JUNE_15, BRAKES))}
    recorded(bench, moment(6, 16), RAISING, bench.leakage(), version=newer, **further)
    assert [(done.version, done.performed_on) for done in of(bench.device)] == [(newer, day("2026-06-16"))]


def test_an_instrument_that_turns_out_to_have_been_overdue_answered_no_step(bench: Bench) -> None:
    recorded(bench, JUNE_15)
    size = head().size
    wrong = Calibration.objects.current().get(instrument=bench.meter)
    shorter = Row(
        Calibration, instrument=bench.meter, performed_on=wrong.performed_on, good_until_on=day("2026-06-14"),
        outcome="in_tolerance",
    )  # fmt: skip
    written("instrument_calibrated", bench.meter, shorter, replaces=[wrong], note="Misread.")
    assert of(bench.device) == []
    assert len(of(bench.device, known=size)) == 1


def test_a_sheet_as_it_was_known_decides(bench: Bench) -> None:
    """The sheet loses its steps; what had been complete is so no more, and still is as known before."""
    recorded(bench, JUNE_15)
    size = head().size
    wrong = ProcedureSheet.objects.current().get(version=bench.version)
    empty = Row(ProcedureSheet, version=bench.version, title=wrong.title, minutes=40, people=1)
    written("version_written", bench.version, empty, replaces=[wrong], note="Without its steps.")
    assert of(bench.device) == []
    assert len(of(bench.device, known=size)) == 1
    assert of(bench.device, known=size - 1) == []


def test_the_day_stands_as_it_was_recorded_whatever_the_order_of_the_entries(bench: Bench) -> None:
    """The second part is entered first."""
    later = recorded(bench, moment(6, 17), RAISING, bench.leakage())
    last = recorded(bench, JUNE_15, BRAKES, inspection=inspection_of(later))
    (done,) = of(bench.device)
    assert (done.performed_on, done.performed_at, done.entry) == (day("2026-06-17"), moment(6, 17), last.seq)


def several(bench: Bench, count: int) -> list[int]:
    devices = [a_device(bench.odile, bench.model, f"OM-1{n}", bench.theatre) for n in range(count)]
    for number, device in enumerate(devices):
        first = recorded(bench, JUNE_15, BRAKES, device=device, kind=InspectionKind.INCOMING)
        a_repair(device, moment(6, 16), "covers_and_guards")
        rest = [RAISING, bench.leakage()]
        recorded(
            bench, moment(6, 17 + number), *rest, device=device, kind=InspectionKind.INCOMING,
            inspection=inspection_of(first),
        )  # fmt: skip
    return devices


def test_of_many_devices_it_takes_as_many_statements_as_of_one(bench: Bench, django_assert_num_queries: Any) -> None:
    devices, known = several(bench, 4), head().size
    for asked, found in ((devices[:1], 1), (devices, 4), (None, 4)):
        with django_assert_num_queries(10):
            assert len(completed(asked, known)) == found


def test_of_no_devices_there_are_none(bench: Bench) -> None:
    recorded(bench, JUNE_15)
    assert completed([], head().size) == []


def test_more_devices_than_can_be_named_are_read_and_left_out(bench: Bench, monkeypatch: pytest.MonkeyPatch) -> None:
    devices, known = several(bench, 3), head().size
    named = completed(devices[:2], known)
    monkeypatch.setattr(inspections, "_MOST_NAMED", 1)
    assert completed(devices[:2], known) == named
    assert [done.device for done in named] == devices[:2]
