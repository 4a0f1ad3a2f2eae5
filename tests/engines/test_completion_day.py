"""An inspection is performed on the day of its last mandatory step, unless its parts no longer belong together."""

from datetime import UTC, date, datetime, timedelta

import pytest

from pmcore.engines.completion import Answered, Repaired, performed_on
from pmcore.engines.site_days import MomentWithoutZone

BRAKES, LIFTING, LABELS = "brakes", "lifting", "labels"
MANDATORY = {BRAKES, LIFTING}
ZONE = "America/Chicago"


def on(month, day, hour=15):
    return datetime(2026, month, day, hour, tzinfo=UTC)


def day_of(*answers, repairs=(), mandatory=MANDATORY):
    return performed_on(mandatory, [Answered(step, at) for step, at in answers], repairs, ZONE)


def test_the_last_mandatory_step_gives_the_day():
    """First steps 07-10, last mandatory step 07-18: performed after a window that closed on 07-15."""
    assert day_of((BRAKES, on(7, 10)), (LIFTING, on(7, 18))) == date(2026, 7, 18)


def test_steps_that_are_not_mandatory_move_nothing():
    assert day_of((BRAKES, on(7, 10)), (LIFTING, on(7, 11)), (LABELS, on(7, 12))) == date(2026, 7, 11)


def test_a_missing_mandatory_step_leaves_it_incomplete():
    assert day_of((BRAKES, on(7, 10)), (LABELS, on(7, 10))) is None
    assert day_of() is None


def test_nothing_mandatory_completes_nothing():
    assert day_of((LABELS, on(7, 10)), mandatory=set()) is None


def test_the_day_is_the_sites():
    assert day_of((BRAKES, on(7, 10)), (LIFTING, on(7, 16, hour=4))) == date(2026, 7, 15)


def test_parts_fourteen_days_apart_belong_together_and_fifteen_do_not():
    assert day_of((BRAKES, on(7, 1)), (LIFTING, on(7, 15))) == date(2026, 7, 15)
    assert day_of((BRAKES, on(7, 1)), (LIFTING, on(7, 16))) is None
    assert day_of((BRAKES, on(7, 1)), (LIFTING, on(7, 16)), (BRAKES, on(7, 17))) == date(2026, 7, 17)


def test_a_repair_in_between_asks_again_for_what_it_touched():
    repair = Repaired(frozenset({BRAKES}), on(7, 11))
    assert day_of((BRAKES, on(7, 10)), (LIFTING, on(7, 12)), repairs=[repair]) is None
    again = (BRAKES, on(7, 13))
    assert day_of((BRAKES, on(7, 10)), (LIFTING, on(7, 12)), again, repairs=[repair]) == date(2026, 7, 13)


def test_a_repair_elsewhere_or_after_the_end_changes_nothing():
    answers = (BRAKES, on(7, 10)), (LIFTING, on(7, 12))
    assert day_of(*answers, repairs=[Repaired(frozenset({LABELS}), on(7, 11))]) == date(2026, 7, 12)
    assert day_of(*answers, repairs=[Repaired(frozenset(MANDATORY), on(7, 13))]) == date(2026, 7, 12)


def test_a_step_answered_at_the_moment_of_the_repair_was_answered_after_it():
    moment = on(7, 12)
    repair = Repaired(frozenset({LIFTING}), moment)
    assert day_of((BRAKES, on(7, 10)), (LIFTING, moment), repairs=[repair]) == date(2026, 7, 12)


def test_answers_may_come_in_any_order():
    assert day_of((LIFTING, on(7, 18)), (BRAKES, on(7, 10))) == date(2026, 7, 18)


def test_a_moment_without_an_offset_is_refused():
    with pytest.raises(MomentWithoutZone):
        day_of((BRAKES, on(7, 10).replace(tzinfo=None)))


def test_days_apart_are_days_at_the_site():
    """14 days and 23 hours in UTC, and fifteen dates apart at the site."""
    first = on(7, 1, hour=6)
    assert day_of((BRAKES, first), (LIFTING, first + timedelta(days=14, hours=22))) == date(2026, 7, 15)
    assert day_of((BRAKES, first), (LIFTING, first + timedelta(days=14, hours=23))) is None
