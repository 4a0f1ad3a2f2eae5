"""Was an instrument good on a day? Overdue for calibration, its steps are not answered."""

import datetime as dt
from collections import defaultdict
from collections.abc import Sequence
from dataclasses import dataclass

from pmcore.engines.vocabulary import CalibrationOutcome
from pmcore.models import Calibration


@dataclass(frozen=True, slots=True)
class Calibrated:
    performed_on: dt.date
    good_until_on: dt.date
    outcome: str


def calibrations(known: int) -> dict[int, list[Calibrated]]:
    """Of each instrument its calibrations in order, as known at a size of the history: one statement."""
    found: dict[int, list[Calibrated]] = defaultdict(list)
    rows = Calibration.objects.known(known).order_by("performed_on", "id")
    for instrument, *values in rows.values_list("instrument_id", "performed_on", "good_until_on", "outcome"):
        found[instrument].append(Calibrated(*values))
    return dict(found)


def good_on(history: Sequence[Calibrated], day: dt.date) -> bool:
    """Its last calibration by the day left it in tolerance and had not run out. Never calibrated: it is not good.

    `history` in the order of `calibrations`.
    """
    last = next((each for each in reversed(history) if each.performed_on <= day), None)
    if last is None or last.outcome == CalibrationOutcome.OUT_OF_TOLERANCE:
        return False
    return day <= last.good_until_on
