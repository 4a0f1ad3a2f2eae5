"""A changed plan keeps the time since the last complete inspection within its own interval and after-window."""

from dataclasses import replace
from datetime import date, timedelta

from hypothesis import given
from hypothesis import strategies as st

from pmcore.engines.due_changes import Former
from pmcore.engines.due_dates import IntervalRule, Window, add_interval, occurrences, window_of
from pmcore.engines.due_generation import Covered, Written, called_for, difference
from pmcore.engines.vocabulary import Basis, Unit

CHANGED = date(2026, 3, 1)
LAST = date(2025, 6, 20)


def every(months: int, window: int = 30) -> IntervalRule:
    return IntervalRule(months, Unit.MONTH, Basis.ANCHORED, Window.days(window, window))


YEARLY = every(12)
IN_JUNE = Former(YEARLY, date(2024, 6, 15))


def moved_to(anchor: date, former: Former | None = IN_JUNE, rule: IntervalRule = YEARLY, **more: object) -> Covered:
    return Covered(rule, anchor, CHANGED, last_met=LAST, former=former, **more)  # type: ignore[arg-type]


def windows(covered: Covered, written: list[Written] | None = None) -> list[tuple[str, str, str]]:
    dues = called_for(covered, date(2026, 4, 1), written or [])
    return [(due.opens_on.isoformat(), due.due_on.isoformat(), due.closes_on.isoformat()) for due in dues]


def test_a_later_anchor_leaves_one_due_inspection_in_between() -> None:
    """Last done 2025-06-20; counted from November on, the next would be 17 months later."""
    assert windows(moved_to(date(2025, 11, 15))) == [
        ("2026-05-21", "2026-06-20", "2026-07-20"),
        ("2026-10-16", "2026-11-15", "2026-12-15"),
    ]


def test_an_anchor_a_little_later_closes_its_first_window_earlier() -> None:
    assert windows(moved_to(date(2025, 7, 10)))[0] == ("2026-06-10", "2026-07-10", "2026-07-20")
    assert windows(moved_to(date(2025, 8, 10)))[0] == ("2026-07-11", "2026-07-20", "2026-07-20")


def test_an_earlier_anchor_changes_nothing() -> None:
    assert windows(moved_to(date(2025, 5, 1)))[0] == ("2026-04-01", "2026-05-01", "2026-05-31")


def test_a_longer_interval_counts_by_itself() -> None:
    """The interval of the new terms: 24 months since the last, and 30 days."""
    longer = moved_to(date(2024, 6, 15), rule=every(24))
    assert [due.due_on for due in called_for(longer, date(2026, 6, 1))] == [date(2026, 6, 15)]
    too_long = moved_to(date(2025, 12, 15), rule=every(24))
    assert called_for(too_long, date(2026, 12, 1))[0].due_on == date(2027, 6, 20)


def test_a_due_date_that_stood_before_is_no_work_of_the_change() -> None:
    """Anchored windows lie further apart than the interval where one was met early: a gap that is listed elsewhere."""
    early = Covered(YEARLY, date(2024, 6, 15), CHANGED, last_met=date(2025, 5, 20), former=IN_JUNE)
    assert windows(early)[0] == ("2026-05-16", "2026-06-15", "2026-07-15")


def test_a_plan_that_begins_with_the_device_was_not_changed() -> None:
    assert windows(moved_to(date(2025, 11, 15), former=None)) == [("2026-10-16", "2026-11-15", "2026-12-15")]


def test_what_ran_out_before_the_change_is_due_the_day_after_it() -> None:
    long_ago = replace(moved_to(date(2025, 11, 15)), last_met=date(2024, 1, 10))
    assert windows(long_ago)[0] == ("2026-03-02", "2026-03-02", "2026-03-02")


def test_a_window_that_had_opened_is_enough() -> None:
    undone = Written(1, date(2026, 3, 15), date(2026, 2, 15))
    covered = moved_to(date(2025, 11, 15))
    assert windows(covered, [undone]) == [("2026-10-16", "2026-11-15", "2026-12-15")]
    assert len(windows(covered, [replace(undone, withdrawn=True)])) == 2


def test_what_was_written_once_is_written_once() -> None:
    for anchor in (date(2025, 7, 10), date(2025, 8, 10), date(2025, 11, 15)):
        covered = moved_to(anchor)
        dues = called_for(covered, CHANGED)
        written = [Written(key, due.due_on, due.opens_on, due.closes_on) for key, due in enumerate(dues)]
        assert not difference(covered, written, CHANGED)


@given(
    st.integers(1, 36),
    st.integers(0, 14),
    st.dates(date(2023, 1, 1), date(2026, 3, 1)),
    st.dates(date(2023, 1, 1), date(2027, 12, 31)),
)
def test_the_first_window_closes_in_time_and_opens_after_the_change(
    months: int, days: int, last: date, anchor: date
) -> None:
    rule = every(months, days)
    covered = replace(moved_to(anchor, rule=rule), last_met=last)
    dues = called_for(covered, date(2030, 1, 1))
    _, ran_out = window_of(rule, add_interval(last, months, Unit.MONTH))
    latest = max(ran_out, CHANGED + timedelta(days=1))
    stood_before = occurrences(IN_JUNE.rule, IN_JUNE.anchor, dues[0].due_on, dues[0].due_on)
    assert dues[0].opens_on > CHANGED
    assert stood_before or dues[0].closes_on <= latest
    assert len({due.due_on for due in dues}) == len(dues)
