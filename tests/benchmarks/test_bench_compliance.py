"""The benchmark of compliance does what it says, on a handful of devices. No time is asserted."""

import pytest

from tests.benchmarks.bench_compliance import measure, measure_many

pytestmark = pytest.mark.django_db


def test_every_line_of_the_table_is_measured():
    lines = measure(24)
    assert len(lines) == 6
    assert all(line.value > 0 for line in lines)
    assert "24 devices" in lines[0].what
    assert " 0 due" not in lines[3].what


def test_a_figure_over_many_kept_standings():
    lines = measure_many(50_000)
    assert [line.value > 0 for line in lines] == [True] * 4
    assert "50,000" in lines[0].what
