"""The benchmark of the interface does what it says, on a handful of devices. No time is asserted."""

import pytest

from tests.benchmarks.bench_api import ASKED, measure

pytestmark = pytest.mark.django_db


def test_every_line_of_the_table_is_measured():
    lines = measure(24, rounds=2)
    assert [line.what for line in lines[1:]] == list(ASKED)
    assert all(line.value > 0 for line in lines)
    assert all(line.ratio is not None and line.ratio > 0 for line in lines[1:])
