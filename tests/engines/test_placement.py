"""A due inspection counts once, where the device was on the due date; moves inside the window are listed."""

from datetime import date

from pmcore.engines.placement import moves_inside, place_on
from pmcore.engines.records import Placed

OPENS, DUE, CLOSES = date(2026, 5, 16), date(2026, 6, 15), date(2026, 7, 15)
MOVED = [Placed(date(2026, 7, 1), "B"), Placed(date(2024, 1, 1), "A")]


def test_moved_after_the_due_date_it_counts_where_it_came_from():
    assert place_on(MOVED, DUE) == "A"
    assert moves_inside(MOVED, OPENS, CLOSES) == [Placed(date(2026, 7, 1), "B")]


def test_the_day_of_the_move_belongs_to_the_new_place():
    assert place_on(MOVED, date(2026, 6, 30)) == "A"
    assert place_on(MOVED, date(2026, 7, 1)) == "B"


def test_before_its_first_placement_it_was_nowhere():
    assert place_on(MOVED, date(2023, 12, 31)) is None
    assert place_on([], DUE) is None


def test_the_first_and_the_last_day_are_inside_the_window():
    def moved(day):
        return moves_inside([Placed(date(2024, 1, 1), "A"), Placed(day, "B")], OPENS, CLOSES)

    assert moved(OPENS)
    assert moved(CLOSES)
    assert not moved(date(2026, 5, 15))
    assert not moved(date(2026, 7, 16))


def test_arriving_first_or_being_placed_where_it_was_is_no_move():
    assert moves_inside([Placed(date(2026, 6, 1), "A")], OPENS, CLOSES) == []
    assert moves_inside([Placed(date(2026, 1, 1), "A"), Placed(date(2026, 6, 1), "A")], OPENS, CLOSES) == []
