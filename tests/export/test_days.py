"""An export of some days shows exactly the entries that were written on them, whatever their order, and of the others
reads their leaves alone."""

import datetime as dt

import pytest
from django.db import connection
from django.test.utils import CaptureQueriesContext

from pmcore.queries import exported
from pmcore.queries.exported import runs
from pmcore.queries.head import head
from tests.export.reading import parts
from tests.history import AT, MARCH, a_move, small_history

pytestmark = pytest.mark.django_db

DAYS = ((AT + dt.timedelta(days=1)).date().isoformat(), (AT + dt.timedelta(days=2)).date().isoformat())


@pytest.fixture(autouse=True)
def world():
    """Written on days that go forth and back, at the first and the last moment of the two days too."""
    world = small_history()
    edges = dt.datetime.combine(AT.date(), dt.time(0), dt.UTC)
    for hours in (24, 23, 72, 71, 30, 100, 48):
        for microseconds in (0, 1):
            at = edges + dt.timedelta(hours=hours, microseconds=microseconds)
            a_move(world, world.ward, MARCH, at=at, note="Moved.")
    return world


@pytest.mark.parametrize("page", [1, 3, 2000])
def test_it_is_what_a_look_at_every_entry_gives(monkeypatch, page):
    monkeypatch.setattr(exported, "PAGE", page)
    size = head().size
    by_days = parts(runs(size, None, DAYS))
    assert by_days == parts(runs(size, lambda entry: DAYS[0] <= str(entry.at)[:10] <= DAYS[1]))
    assert by_days[0] == parts(runs(size, None))[0], "every leaf is in it"
    assert len(by_days[1]) == 8
    assert by_days[1] == sorted(by_days[1])


def test_of_entries_outside_no_row_is_read():
    def statements(days):
        with CaptureQueriesContext(connection) as captured:
            assert parts(runs(head().size, None, days))[1] == []
        return len(captured)

    # The mark of the history, its first and last day, what was replaced, and one outline; no row of a move.
    with CaptureQueriesContext(connection) as captured:
        list(exported.replacements(exported.Report()))
    assert statements(("1999-01-01", "1999-12-31")) == len(captured) + 3
