"""What a plan calls for on a device: the difference between what should be there and what is, nothing twice."""

from dataclasses import replace
from datetime import date, timedelta

from hypothesis import given
from hypothesis import strategies as st

from pmcore.engines.due_dates import IntervalRule, Window
from pmcore.engines.due_generation import Covered, Written, called_for, difference
from pmcore.engines.records import Inspected
from pmcore.engines.vocabulary import Basis, Unit

ANCHOR = date(2024, 6, 15)
MONTH_EITHER_SIDE = Window.days(30, 30)


def yearly(basis: Basis) -> IntervalRule:
    return IntervalRule(12, Unit.MONTH, basis, MONTH_EITHER_SIDE)


def anchored(starts_on: date, **more: object) -> Covered:
    return Covered(yearly(Basis.ANCHORED), ANCHOR, starts_on, **more)  # type: ignore[arg-type]


def floating(starts_on: date, **more: object) -> Covered:
    return Covered(yearly(Basis.FLOATING), ANCHOR, starts_on, **more)  # type: ignore[arg-type]


def days(covered: Covered, as_of: date) -> list[str]:
    return [due.due_on.isoformat() for due in called_for(covered, as_of)]


def as_written(covered: Covered, as_of: date) -> list[Written]:
    return [Written(key, due.due_on, due.opens_on) for key, due in enumerate(called_for(covered, as_of))]


def test_an_anchored_plan_looks_thirteen_months_ahead() -> None:
    assert days(anchored(date(2025, 1, 1)), date(2025, 5, 15)) == ["2025-06-15", "2026-06-15"]
    assert days(anchored(date(2025, 1, 1)), date(2025, 5, 14)) == ["2025-06-15"]


def test_a_new_device_is_first_due_in_the_first_window_that_opens_after_it_came() -> None:
    """Worked example 17: incoming 2026-06-01, the window opened on 05-16 already."""
    covered = anchored(date(2025, 1, 1), last_met=date(2026, 6, 1))
    assert days(covered, date(2026, 6, 30)) == ["2027-06-15"]


def test_a_device_found_in_use_is_due_at_once() -> None:
    covered = anchored(date(2026, 6, 20), at_once=True)
    first = called_for(covered, date(2026, 7, 1))[0]
    assert (first.opens_on, first.due_on, first.closes_on) == (date(2026, 6, 20), date(2026, 6, 20), date(2026, 7, 20))
    assert days(covered, date(2026, 7, 1))[1:] == ["2027-06-15"]


def test_a_floating_plan_names_the_next_only() -> None:
    covered = floating(date(2026, 1, 1), last_met=date(2025, 8, 10))
    assert days(covered, date(2026, 1, 2)) == ["2026-08-10"]


def test_an_undone_floating_due_does_not_hide_the_next() -> None:
    """Worked example 16: previous 2023-06-15, next done 2026-06-20: three were due."""
    covered = floating(date(2023, 7, 1), last_met=date(2023, 6, 15))
    assert days(covered, date(2026, 6, 19)) == ["2024-06-15", "2025-06-15", "2026-06-15", "2027-06-15"]
    done = floating(date(2023, 7, 1), last_met=date(2023, 6, 15), inspected=[Inspected(date(2026, 6, 20))])
    assert days(done, date(2026, 6, 21)) == ["2024-06-15", "2025-06-15", "2026-06-15", "2027-06-20"]
    change = difference(done, as_written(covered, date(2026, 6, 19)), date(2026, 6, 21))
    assert [due.due_on for due in change.add] == [date(2027, 6, 20)]
    assert change.withdraw == (3,)


def test_a_clock_that_ran_out_before_the_plan_began_makes_the_device_due_on_its_first_day() -> None:
    covered = floating(date(2026, 1, 1), last_met=date(2023, 3, 1))
    assert days(covered, date(2026, 1, 1)) == ["2026-01-01", "2027-01-01"]
    cleared = floating(date(2026, 1, 1), last_met=date(2023, 3, 1), inspected=[Inspected(date(2026, 1, 20))])
    assert days(cleared, date(2026, 2, 1)) == ["2026-01-01", "2027-01-20"]


def test_a_device_that_comes_while_a_floating_window_is_open_is_due_as_it_comes_not_before() -> None:
    """Nobody inspected it: by the plan's anchor it would be due on 2025-06-15, when it stood nowhere."""
    came_on = date(2025, 6, 20)
    covered = floating(came_on, begins_on=came_on)
    assert days(covered, date(2025, 7, 1)) == ["2025-06-20", "2026-06-20"]
    assert days(floating(came_on), date(2025, 7, 1)) == ["2025-06-15", "2026-06-15"]  # it was there before the plan


def test_a_changed_interval_leaves_windows_that_had_opened() -> None:
    before = anchored(date(2025, 1, 1))
    written = as_written(before, date(2026, 6, 1))
    half_yearly = IntervalRule(6, Unit.MONTH, Basis.ANCHORED, Window.days(20, 20))
    change = difference(Covered(half_yearly, ANCHOR, date(2026, 6, 1)), written, date(2026, 6, 1))
    assert [due.due_on.isoformat() for due in change.add] == ["2026-12-15"]
    kept = [due for due in written if due.key not in change.withdraw]
    assert [due.due_on.isoformat() for due in kept] == ["2025-06-15", "2026-06-15", "2027-06-15"]


def test_an_ended_plan_keeps_what_had_opened_and_withdraws_the_rest() -> None:
    covered = anchored(date(2025, 1, 1))
    written = as_written(covered, date(2026, 6, 1))
    ended = anchored(date(2025, 1, 1), ended_on=date(2026, 6, 1))
    change = difference(ended, written, date(2026, 6, 2))
    assert change.add == ()
    assert [written[key].due_on.isoformat() for key in change.withdraw] == ["2027-06-15"]


def test_a_clock_that_jumped_ahead_left_nothing_to_withdraw() -> None:
    for covered in (anchored(date(2025, 1, 1)), floating(date(2025, 1, 1), last_met=date(2024, 12, 1))):
        written = as_written(covered, date(2028, 1, 1))
        assert len(written) > 2
        assert not difference(covered, written, date(2025, 2, 1))


def test_a_plan_that_is_changed_back_calls_again_for_what_it_withdrew() -> None:
    covered = anchored(date(2025, 1, 1))
    day = date(2025, 6, 15)
    withdrawn = [Written(1, day, day - timedelta(days=30), withdrawn=True)]
    assert difference(covered, withdrawn, date(2025, 2, 1)).restore == (1,)
    struck_out = [Written(1, day, day - timedelta(days=30), withdrawn=True, struck_out=True)]
    assert difference(covered, struck_out, date(2025, 2, 1)).restore == ()


def test_a_withdrawn_one_is_neither_written_nor_withdrawn_again() -> None:
    covered = anchored(date(2025, 1, 1))
    day = date(2025, 6, 15)
    written = [
        Written(1, day, day - timedelta(days=30), withdrawn=True),
        Written(2, date(2025, 9, 1), day, withdrawn=True),
    ]
    change = difference(covered, written, date(2025, 2, 1))
    assert day not in [due.due_on for due in change.add]
    assert change.withdraw == ()


@given(
    st.sampled_from(Basis),
    st.integers(1, 36),
    st.dates(date(2023, 1, 1), date(2025, 12, 31)),
    st.lists(st.dates(date(2024, 1, 1), date(2028, 12, 31)), max_size=5, unique=True),
    st.lists(st.dates(date(2024, 1, 1), date(2028, 12, 31)), min_size=1, max_size=12),
)
def test_however_the_sweeps_fall_the_last_one_leaves_what_one_alone_would(
    basis: Basis, every: int, starts_on: date, performed: list[date], sweeps: list[date]
) -> None:
    """Sweeps on any days, each knowing the inspections performed so far, against one sweep on the last day."""
    rule = IntervalRule(every, Unit.MONTH, basis, Window.days(5, 5))
    written: dict[int, Written] = {}
    for as_of in sorted(sweeps):
        done = [Inspected(day) for day in sorted(performed) if starts_on < day <= as_of]
        covered = Covered(rule, ANCHOR, starts_on, last_met=None, inspected=done)
        change = difference(covered, written.values(), as_of)
        assert not {due.due_on for due in change.add} & {due.due_on for due in written.values()}
        for due in change.add:
            written[len(written)] = Written(len(written), due.due_on, due.opens_on)
        for key in (*change.withdraw, *change.restore):
            written[key] = replace(written[key], withdrawn=key in change.withdraw)
        assert not difference(covered, written.values(), as_of)
    last = max(sweeps)
    done = [Inspected(day) for day in sorted(performed) if starts_on < day <= last]
    alone = {due.due_on for due in called_for(Covered(rule, ANCHOR, starts_on, inspected=done), last)}
    assert {due.due_on for due in written.values() if not due.withdrawn} >= alone
