"""Where a device was: a due inspection counts once, at the device's site on the due date."""

from collections.abc import Sequence
from datetime import date
from itertools import pairwise

from pmcore.engines.records import Placed


def place_on(placements: Sequence[Placed], day: date) -> str | None:
    """The place on `day`; None before the first placement. In any order, one placement a day at most."""
    earlier = [placed for placed in placements if placed.from_on <= day]
    return max(earlier, key=lambda placed: placed.from_on).place if earlier else None


def moves_inside(placements: Sequence[Placed], opens_on: date, closes_on: date) -> list[Placed]:
    """Arrivals at another place on a day of the window, in order."""
    in_order = sorted(placements, key=lambda placed: placed.from_on)
    return [
        after
        for before, after in pairwise(in_order)
        if after.place != before.place and opens_on <= after.from_on <= closes_on
    ]
