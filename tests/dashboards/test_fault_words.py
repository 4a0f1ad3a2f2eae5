"""What the form of a release says of each hold."""

import datetime as dt

import pytest

from dashboards.fault_words import to_lift
from pmcore.engines.gate import HoldToLift, Proof


@pytest.mark.parametrize("proof", [Proof.TESTED_AGAIN, Proof.INCOMING])
def test_a_step_that_failed_and_was_not_passed_since_is_named(proof: Proof) -> None:
    hold = HoldToLift(1, "other", dt.date(2026, 6, 1), None, proof, False, ("protective_earth",))
    assert to_lift(hold) == "Failed and not passed since: protective earth."


def test_without_an_incoming_inspection_that_is_said() -> None:
    hold = HoldToLift(1, "unknown_history", dt.date(2026, 6, 1), None, Proof.INCOMING, False)
    assert to_lift(hold) == "No complete incoming inspection is recorded since."
