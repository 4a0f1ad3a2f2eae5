"""A demonstration's clock goes on from a moment, in this process and in those that start later."""

import datetime as dt
from pathlib import Path

from pytest_django import Settings

from pmcore import clock, environment  # noqa: TID251 - the clock itself is tested

MOMENT = dt.datetime(2026, 10, 31, 7, 30, tzinfo=dt.UTC)


def test_it_goes_on_from_the_moment_and_never_before_it(tmp_path: Path, settings: Settings) -> None:
    settings.CLOCK_OFFSET = None
    clock.go_on_from(MOMENT, tmp_path / "demo-clock")
    first = clock.now()
    assert MOMENT <= first <= clock.now() < MOMENT + dt.timedelta(minutes=10)
    assert clock.is_set_back()


def test_the_settings_of_others_read_the_same_from_the_file(tmp_path: Path, settings: Settings) -> None:
    settings.CLOCK_OFFSET = None
    clock.go_on_from(MOMENT, tmp_path / "demo-clock")
    assert environment.seconds_in(tmp_path / "demo-clock") == settings.CLOCK_OFFSET


def test_without_a_file_it_is_the_machines_clock(tmp_path: Path) -> None:
    assert environment.seconds_in(tmp_path / "demo-clock") is None
