"""Rule 23: an instrument found out of tolerance puts in doubt what it read since its last good calibration, until a
named person decides."""

import datetime as dt

import pytest

from pmcore.engines.vocabulary import CalibrationOutcome, Outcome, StepKind
from pmcore.models import Calibration, DoubtDecision, InstrumentDetails, TestInstrument
from pmcore.models.rows import Row
from pmcore.queries.doubts import doubts_on
from pmcore.queries.head import head
from pmcore.services.procedures import approve_version, write_version
from pmcore.services.readings import InstrumentOverdue, ReadingLine
from pmcore.services.steps import StepLine
from tests.history import written
from tests.story import Story, a_story, day, moment

DECEMBER = day(12, 31)

pytestmark = pytest.mark.django_db


def a_meter(story: Story, good_until: dt.date) -> int:
    meter, on = Row(TestInstrument), day(1, 2, 2025)
    details = Row(
        InstrumentDetails, instrument=meter, from_on=on, site=story.sites[0], label="M-1", maker="Tessick",
        model="Lark", serial="M-1", retired=False,
    )  # fmt: skip
    good = Row(Calibration, instrument=meter, performed_on=on, good_until_on=good_until, outcome="in_tolerance")
    return written("instrument_registered", meter, meter, details, good, at=moment(on)).subject


def calibrated(meter: int, on: dt.date, outcome: CalibrationOutcome) -> None:
    row = Row(
        Calibration, instrument=meter, performed_on=on, good_until_on=on + dt.timedelta(days=365), outcome=outcome
    )
    written("instrument_calibrated", meter, row, at=moment(on))


def a_measuring_story(good_until: dt.date = DECEMBER) -> tuple[Story, int]:
    """The yearly check gets a step that measures; the device was read on 2026-06-10."""
    story = a_story()
    steps = [
        StepLine(key="frame", kind=StepKind.LOOK, prompt="Is the frame sound?"),
        StepLine(key="leakage", kind=StepKind.MEASURE, prompt="How much leaks?", unit="µA", high="500",
                 instrument_wanted=True),
    ]  # fmt: skip
    on = day(5, 1)
    story.version = write_version(
        procedure=story.procedure, number=2, title="Yearly check", minutes=40, people=1, steps=steps, **story.by(on)
    ).subject
    approve_version(version=story.version, from_on=on, approved_by=story.person, **story.by(on))
    meter = a_meter(story, good_until)
    lines = [
        ReadingLine(step="frame", outcome=Outcome.PASSED),
        ReadingLine(step="leakage", outcome=Outcome.PASSED, as_found="85", unit="µA", instrument=meter),
    ]
    story.inspect(day(6, 10), readings=lines)
    return story, meter


def test_rule_23_overdue_for_calibration_its_steps_are_not_answered():
    with pytest.raises(InstrumentOverdue):
        a_measuring_story(good_until=day(6, 9))


def test_a_calibration_that_turns_out_shorter_leaves_the_steps_unanswered():
    story, meter = a_measuring_story()
    assert story.report().tally.met == 1
    wrong = Calibration.objects.get(instrument=meter)
    right = Row(
        Calibration, instrument=meter, performed_on=wrong.performed_on, good_until_on=day(6, 9), outcome=wrong.outcome
    )
    written("instrument_calibrated", meter, right, replaces=[wrong], note="Misread.", at=moment(day(7, 1)))
    assert story.report().tally.no_reason == 1


def test_good_on_the_last_day_of_its_calibration():
    story, _ = a_measuring_story(good_until=day(6, 10))
    assert story.report().tally.met == 1


@pytest.mark.parametrize("outcome", [CalibrationOutcome.ADJUSTED, CalibrationOutcome.OUT_OF_TOLERANCE])
def test_rule_23_found_out_later_the_steps_since_are_in_doubt_and_still_count(outcome):
    story, meter = a_measuring_story()
    calibrated(meter, day(7, 20), outcome)
    assert doubts_on(day(7, 19), head().size) == []
    (doubt,) = doubts_on(day(7, 20), head().size)
    assert (doubt.device, doubt.instrument, doubt.steps) == (story.device, meter, ("leakage",))
    assert (doubt.performed_on, doubt.found_on) == (day(6, 10), day(7, 20))
    assert story.report().tally.met == 1


def test_a_good_calibration_between_clears_what_came_before():
    _, meter = a_measuring_story()
    calibrated(meter, day(6, 20), CalibrationOutcome.IN_TOLERANCE)
    calibrated(meter, day(7, 20), CalibrationOutcome.OUT_OF_TOLERANCE)
    assert doubts_on(day(7, 31), head().size) == []


def test_a_named_person_decides():
    story, meter = a_measuring_story()
    calibrated(meter, day(7, 20), CalibrationOutcome.ADJUSTED)
    (doubt,) = doubts_on(day(7, 25), head().size)
    decision = Row(
        DoubtDecision, inspection=doubt.inspection, instrument=meter, from_on=day(7, 26), accepted=True,
        decided_by=story.person, reason="It read high, never low.",
    )  # fmt: skip
    written("doubt_decided", story.device, decision, at=moment(day(7, 26)))
    assert doubts_on(day(7, 25), head().size) == [doubt]
    assert doubts_on(day(7, 26), head().size) == []
