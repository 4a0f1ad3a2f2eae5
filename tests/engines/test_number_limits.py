"""A number lies below, within or above its limits."""

from decimal import Decimal

import pytest

from pmcore.engines.readings import Bounds, Side

EARTH = Bounds(high=Decimal("0.30"))
EARTH_BELOW = Bounds(high=Decimal("0.30"), high_included=False)
CELL = Bounds(Decimal("98.0"), Decimal("102.0"))
CELL_ABOVE = Bounds(Decimal("98.0"), Decimal("102.0"), low_included=False)
BOLTS = Bounds(Decimal(4), Decimal(4))


@pytest.mark.parametrize(
    ("bounds", "value", "side"),
    [
        (EARTH, "0.30", Side.WITHIN),
        (EARTH, "0.301", Side.ABOVE),
        (EARTH_BELOW, "0.30", Side.ABOVE),
        (CELL, "98.0", Side.WITHIN),
        (CELL, "97.9", Side.BELOW),
        (CELL_ABOVE, "98.0", Side.BELOW),
        (BOLTS, "3", Side.BELOW),
        (BOLTS, "4.0", Side.WITHIN),
        (Bounds(), "1e9", Side.WITHIN),
    ],
)
def test_side(bounds, value, side):
    assert bounds.side(Decimal(value)) is side


def test_no_limit_is_no_limit():
    assert not Bounds().limited
    assert Bounds(high=Decimal(1)).limited
