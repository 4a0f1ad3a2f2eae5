"""Worlds in which the compliance figure and the slow loop over the rows differ, each the smallest one that shows it.

Each is expected to fail until the figure, or what the sweeps leave for it, follows the rule that its reason names; then
the mark must go, and what `tests/queries/test_compliance_against_slow_loop.py` leaves out for it with it.
"""

import datetime as dt

import pytest

from pmcore.models import DueInspection
from pmcore.models.rows import Row
from pmcore.queries.compliance import ComplianceReport
from tests.history import written
from tests.story import a_story, day

pytestmark = pytest.mark.django_db

EVER = (dt.date(2025, 1, 1), dt.date(2027, 12, 31))


def wrong(reason: str) -> pytest.MarkDecorator:
    return pytest.mark.xfail(strict=True, raises=AssertionError, reason=reason)


def counts(report: ComplianceReport) -> dict[str, int]:
    words = ("met", "met_late", "reason_recorded", "no_reason", "suspended", "withdrawn")
    return {word: getattr(report.tally, word) for word in words if getattr(report.tally, word)}


@wrong("Rule 3: inside an open window it is met; one that opened later and has closed already takes the inspection.")
def test_of_overlapping_windows_the_open_one_is_met():
    story = a_story()
    said = {"device": story.device, "plan": story.plan, "procedure": story.procedure}
    short = {"opens_on": day(6, 1), "due_on": day(6, 5), "closes_on": day(6, 5)}
    written("inspections_due", story.device, Row(DueInspection, **said, **short))
    story.inspect(day(6, 10))
    assert counts(story.report(day(6, 1), day(7, 31))) == {"met": 1, "no_reason": 1}
