"""The benchmark of alerts does what it says, on a handful of devices. No time is asserted."""

import pytest

from tests.benchmarks.bench_alerts import CHANGED, measure

pytestmark = pytest.mark.django_db


def test_every_line_of_the_table_is_measured() -> None:
    lines = measure(CHANGED)
    assert len(lines) == 6
    assert all(line.value > 0 for line in lines)
    assert " 0 alerts" not in lines[0].what
    assert f"{CHANGED} entries" in lines[3].what
