"""A floating plan is due on the calendar's day, or on the day that a meter is projected to reach, if that is first."""

from dataclasses import replace
from datetime import date, timedelta

from hypothesis import given
from hypothesis import strategies as st

from pmcore.engines.due_dates import IntervalRule, Window, add_interval
from pmcore.engines.due_generation import Covered, Difference, Written, difference
from pmcore.engines.records import Inspected
from pmcore.engines.vocabulary import Basis, Unit

START = date(2026, 1, 1)
YEARLY = IntervalRule(12, Unit.MONTH, Basis.FLOATING, Window.days(30, 30))


def covered(usage_day: date | None, *done: date) -> Covered:
    return Covered(
        YEARLY, START, START, last_met=START, inspected=[Inspected(day) for day in done], usage_day=usage_day
    )


class Record:
    """What is written, as one sweep after the other leaves it."""

    def __init__(self) -> None:
        self.written: dict[int, Written] = {}

    def sweep(self, plan: Covered, as_of: date) -> Difference:
        change = difference(plan, self.written.values(), as_of)
        for due in change.add:
            key, counted_from = len(self.written), change.counted_from.get(due.due_on)
            assert due.due_on not in {each.due_on for each in self.written.values()}
            self.written[key] = Written(key, due.due_on, due.opens_on, due.closes_on, counted_from=counted_from)
        for key in (*change.withdraw, *change.restore):
            self.written[key] = replace(self.written[key], withdrawn=key in change.withdraw)
        return change

    def due(self) -> list[str]:
        return sorted(each.due_on.isoformat() for each in self.written.values() if not each.withdrawn)


def test_the_meter_comes_first() -> None:
    record = Record()
    record.sweep(covered(date(2026, 8, 1)), date(2026, 2, 1))
    assert record.due() == ["2026-08-01"]
    assert record.written[0].opens_on == date(2026, 7, 2)


def test_the_calendar_comes_first_where_the_meter_is_slow_or_not_read() -> None:
    for usage_day in (None, date(2027, 1, 1), date(2027, 6, 1)):
        record = Record()
        record.sweep(covered(usage_day), date(2026, 2, 1))
        assert record.due() == ["2027-01-01"]


def test_before_its_window_opens_it_is_written_anew_with_every_reading() -> None:
    record = Record()
    for usage_day, as_of in ((date(2026, 8, 1), 1), (date(2026, 9, 1), 2), (None, 3), (date(2026, 8, 1), 4)):
        record.sweep(covered(usage_day), date(2026, as_of, 1))
    assert record.due() == ["2026-08-01"]
    assert {each.due_on.isoformat() for each in record.written.values() if each.withdrawn} == {
        "2026-09-01", "2027-01-01",
    }  # fmt: skip


def test_once_its_window_has_opened_it_stays() -> None:
    record = Record()
    record.sweep(covered(date(2026, 8, 1)), date(2026, 7, 1))
    for usage_day in (date(2026, 10, 1), date(2026, 7, 10), None):
        record.sweep(covered(usage_day), date(2026, 7, 5))
        assert record.due() == ["2026-08-01"]


def test_a_calendar_window_that_has_opened_stays() -> None:
    record = Record()
    record.sweep(covered(None), date(2026, 12, 5))
    record.sweep(covered(date(2026, 12, 10)), date(2026, 12, 5))
    assert record.due() == ["2027-01-01", "2028-01-01"]


def test_a_limit_that_was_reached_before_anybody_knew_is_due_today() -> None:
    record = Record()
    record.sweep(covered(date(2026, 3, 1)), date(2026, 6, 10))
    assert record.due() == ["2026-06-10"]
    record.sweep(covered(date(2026, 3, 1)), date(2026, 6, 11))
    assert record.due() == ["2026-06-10"]


def test_done_in_its_window_it_stays_and_the_next_is_counted_from_there() -> None:
    record = Record()
    record.sweep(covered(date(2026, 8, 1)), date(2026, 7, 5))
    record.sweep(covered(None, date(2026, 7, 20)), date(2026, 7, 21))
    assert record.due() == ["2026-08-01", "2027-07-20"]
    record.sweep(covered(date(2027, 3, 1), date(2026, 7, 20)), date(2026, 8, 1))
    assert record.due() == ["2026-08-01", "2027-03-01"]


def test_done_before_its_window_opens_it_falls_away_although_no_sweep_came_between() -> None:
    record = Record()
    record.sweep(covered(date(2026, 8, 1)), date(2026, 3, 1))
    record.sweep(covered(None, date(2026, 6, 1)), date(2026, 9, 1))
    assert record.due() == ["2027-06-01"]


def test_undone_it_does_not_hide_the_next_nor_come_back_as_the_calendars() -> None:
    record = Record()
    plan = covered(date(2026, 8, 1))
    record.sweep(plan, date(2026, 7, 5))
    record.sweep(plan, date(2027, 12, 20))
    assert record.due() == ["2026-08-01", "2028-01-01", "2029-01-01"]
    record.sweep(covered(None, date(2027, 12, 21)), date(2027, 12, 22))
    assert "2027-01-01" not in record.due()


def test_what_a_person_struck_out_does_not_come_back_a_day_earlier() -> None:
    record = Record()
    record.sweep(covered(date(2026, 8, 1)), date(2026, 3, 1))
    record.written[0] = replace(record.written[0], withdrawn=True, struck_out=True)
    record.sweep(covered(date(2026, 8, 1)), date(2026, 3, 2))
    assert record.due() == ["2027-01-01"]


@given(
    st.lists(
        st.tuples(st.integers(0, 900), st.one_of(st.none(), st.integers(1, 900)), st.booleans()),
        min_size=1,
        max_size=15,
    )
)
def test_however_readings_and_inspections_fall_one_stands_for_each_interval_and_twice_is_as_good_as_once(
    steps: list[tuple[int, int | None, bool]],
) -> None:
    record, done = Record(), []
    for offset, usage, inspected in sorted(steps, key=lambda step: step[0]):
        as_of = START + timedelta(days=offset)
        if inspected and as_of > START:
            done.append(as_of)
        clock = max([*done, START])
        plan = covered(None if usage is None else clock + timedelta(days=usage), *done)
        record.sweep(plan, as_of)
        assert not record.sweep(plan, as_of)
        standing = [each for each in record.written.values() if not each.withdrawn]
        by_meter = [each for each in standing if each.counted_from == clock]
        by_calendar = [each for each in standing if each.due_on == add_interval(clock, 12, Unit.MONTH)]
        assert len(by_meter) + len(by_calendar) == 1
