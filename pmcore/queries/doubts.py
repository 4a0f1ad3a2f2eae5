"""Readings in doubt: taken with an instrument that was found out of tolerance later, and nobody has decided yet."""

import datetime as dt
from collections.abc import Iterable, Sequence
from dataclasses import dataclass

from pmcore.engines.vocabulary import CalibrationOutcome
from pmcore.models import DoubtDecision, Reading
from pmcore.queries.calibrations import Calibrated, calibrations

_FOUND_OUT = frozenset({CalibrationOutcome.OUT_OF_TOLERANCE, CalibrationOutcome.ADJUSTED})


@dataclass(frozen=True, slots=True)
class Doubt:
    """Steps of one inspection that an instrument answered since its last good calibration, before it was found out."""

    inspection: int
    device: int
    site: int
    instrument: int
    performed_on: dt.date
    found_on: dt.date
    steps: tuple[str, ...]


def doubts_on(as_of: dt.date, known: int) -> list[Doubt]:
    """What was in doubt on the day, in order of inspections: three statements.

    From the day on which the instrument was found out until a named person decides, whichever way.
    """
    since = {
        instrument: spans
        for instrument, history in calibrations(known).items()
        if (spans := list(_spans(history, as_of)))
    }
    decided = set(
        DoubtDecision.objects.known(known).filter(from_on__lte=as_of).values_list("inspection_id", "instrument_id")
    )
    rows = Reading.objects.known(known).filter(instrument__in=since).order_by("session__inspection", "id")
    columns = ("session__inspection", "session__inspection__device", "session__site", "instrument", "step")
    found: dict[tuple[int, int], Doubt] = {}
    for inspection, device, site, instrument, step, day in rows.values_list(*columns, "session__performed_on"):
        found_on = next((until for begins, until in since[instrument] if begins < day <= until), None)
        if found_on is None or (inspection, instrument) in decided:
            continue
        before = found.get((inspection, instrument))
        steps = (*before.steps, step) if before else (step,)
        found[inspection, instrument] = Doubt(inspection, device, site, instrument, day, found_on, steps)
    return list(found.values())


def _spans(history: Sequence[Calibrated], as_of: dt.date) -> Iterable[tuple[dt.date, dt.date]]:
    """From the last calibration that was good (left out) up to each one, by `as_of`, that was not."""
    good = dt.date.min
    for calibration in history:
        if calibration.performed_on > as_of:
            return
        if calibration.outcome in _FOUND_OUT:
            yield good, calibration.performed_on
        if calibration.outcome != CalibrationOutcome.OUT_OF_TOLERANCE:
            good = calibration.performed_on  # adjusted: good again from here
