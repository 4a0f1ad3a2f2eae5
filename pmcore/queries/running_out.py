"""Test instruments and the day until which the last calibration of each is good."""

import datetime as dt
from collections.abc import Collection
from dataclasses import dataclass

from pmcore.engines.vocabulary import CalibrationOutcome
from pmcore.models import InstrumentDetails
from pmcore.queries.calibrations import calibrations


@dataclass(frozen=True, slots=True)
class RunningOut:
    instrument: int
    label: str
    site: int
    good_until_on: dt.date


def running_out(*, on: dt.date, known: int, by: dt.date, sites: Collection[int] | None = None) -> list[RunningOut]:
    """Instruments in use whose calibration, in tolerance, is good until a day not after `by` (it may have passed), in
    order of ids: two statements."""
    in_use = InstrumentDetails.objects.known(known).on(on).filter(retired=False)
    if sites is not None:
        in_use = in_use.filter(site__in=sites)
    histories = calibrations(known)
    found = []
    for instrument, label, site in in_use.order_by("instrument_id").values_list("instrument_id", "label", "site_id"):
        history = [each for each in histories.get(instrument, ()) if each.performed_on <= on]
        if not history or history[-1].outcome == CalibrationOutcome.OUT_OF_TOLERANCE:
            continue
        if history[-1].good_until_on <= by:
            found.append(RunningOut(instrument, label, site, history[-1].good_until_on))
    return found
