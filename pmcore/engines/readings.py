"""A number against its limits."""

from dataclasses import dataclass
from decimal import Decimal
from enum import StrEnum


class Side(StrEnum):
    BELOW = "below"
    WITHIN = "within"
    ABOVE = "above"


@dataclass(frozen=True, slots=True)
class Bounds:
    """Lowest and highest number allowed; None: no limit on that side. One that is not included is itself too far."""

    low: Decimal | None = None
    high: Decimal | None = None
    low_included: bool = True
    high_included: bool = True

    def side(self, value: Decimal) -> Side:
        if self.low is not None and (value < self.low or (value == self.low and not self.low_included)):
            return Side.BELOW
        if self.high is not None and (value > self.high or (value == self.high and not self.high_included)):
            return Side.ABOVE
        return Side.WITHIN

    @property
    def limited(self) -> bool:
        return self.low is not None or self.high is not None
