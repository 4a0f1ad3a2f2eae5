"""The standings that a figure is counted from."""

import datetime as dt

import numpy as np

from pmcore.models import DueInspection
from pmcore.queries.standing_catalogue import Catalogue
from pmcore.queries.standing_rows import Standings
from pmcore.queries.standings import standings_of


def standings_between(starts_on: dt.date, ends_on: dt.date, *, as_of: dt.date, catalogue: Catalogue) -> Standings:
    """Of every due inspection whose window closes in the period, and of those that may be overdue on `as_of`."""
    devices = DueInspection.objects.known(catalogue.known).order_by().values_list("device_id", flat=True).distinct()
    found = Standings.of(list(standings_of(list(devices), catalogue)))
    day = np.datetime64(as_of, "D")
    inside = (found.closes_on >= np.datetime64(starts_on, "D")) & (found.closes_on <= np.datetime64(ends_on, "D"))
    undone = (found.closes_on < day) & ~(found.completed_on <= day) & ~(found.next_opens_on <= day)
    return found.where(inside | undone)
