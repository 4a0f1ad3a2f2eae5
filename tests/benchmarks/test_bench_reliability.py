"""The programs about reliability do what they say, on little. No time is asserted."""

import pytest

from tests.benchmarks.bench_reliability import measure
from tests.benchmarks.recovered_truths import recovered

pytestmark = pytest.mark.django_db


def test_every_line_of_the_table_is_measured():
    """The program itself holds its counts against both peers."""
    lines = list(measure(120))
    assert len(lines) == 4
    assert all(line.value > 0 for line in lines[:3])
    assert "120 devices" in lines[0].what


def test_the_truths_of_one_more_seed():
    (tally,) = recovered(1, first=4)
    assert tally.found["hand control first in the list"] == tally.found["impact found"] == 1
    assert tally.found["tiny group in the first ten"] == 0
    assert [round(ratio, 2) for ratio in (*tally.ratios, *tally.impacts)] == [3.5, 5.32]
    assert tally.false == {0: 1}
    assert "seeds with 0 false flags" in "".join(tally.lines())
