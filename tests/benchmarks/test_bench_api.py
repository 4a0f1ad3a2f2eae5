"""The benchmark of the interface does what it says, on a handful of devices. No time is asserted."""

import pytest

from tests.benchmarks.bench_api import QUESTIONS, measure_new

pytestmark = pytest.mark.django_db


def test_every_question_is_measured_beside_an_empty_view():
    lines = measure_new(12, rounds=2)
    assert [line.what for line in lines] == ["an empty view", *QUESTIONS]
    assert all(line.value > 0 for line in lines)
