"""The demonstration's clock goes on from its last morning, from where it was, or from what was written: the latest."""

import datetime as dt
from pathlib import Path

import pytest

from pmcore.engines.records import SYSTEM
from pmcore.services.demo.last_moment import goes_on_at, keep_moment
from pmcore.services.demo.marks import Demonstration, mark_begun, mark_built
from pmcore.services.sites import open_site

pytestmark = pytest.mark.django_db

LAST_DAY = dt.date(2026, 10, 31)
MORNING = dt.datetime(2026, 10, 31, 7, 30, tzinfo=dt.UTC)  # Europe/London is at UTC by then
HOUR = dt.timedelta(hours=1)


@pytest.fixture
def kept(tmp_path: Path) -> Path:
    demonstration = Demonstration(1, 60)
    mark_built(mark_begun(demonstration, dt.date(2023, 11, 1)), demonstration, MORNING - 3 * HOUR)
    return tmp_path / "demo-moment"


def somebody_writes(at: dt.datetime) -> None:
    open_site(
        label="XX", name="Extra", time_zone="Europe/London", working="1111100", from_on=LAST_DAY, actor=SYSTEM, at=at
    )


def test_first_it_is_the_last_morning(kept: Path) -> None:
    assert goes_on_at(kept) == MORNING


def test_later_it_goes_on_from_where_it_was(kept: Path) -> None:
    keep_moment(MORNING + HOUR, kept)
    assert goes_on_at(kept) == MORNING + HOUR


def test_it_never_goes_on_before_what_is_written(kept: Path) -> None:
    somebody_writes(MORNING + 2 * HOUR)
    assert goes_on_at(kept) == MORNING + 2 * HOUR
    keep_moment(MORNING + HOUR, kept)
    assert goes_on_at(kept) == MORNING + 2 * HOUR


@pytest.mark.parametrize("words", ["", "yesterday", "2026-11-01T07:30:00", "2020-01-01T00:00:00+00:00"])
def test_a_file_that_says_nothing_of_use_is_passed_over(kept: Path, words: str) -> None:
    kept.write_text(words)
    assert goes_on_at(kept) == MORNING
