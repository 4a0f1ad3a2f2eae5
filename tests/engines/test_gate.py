"""What a release rests on. Common practice, no source."""

import datetime as dt

import pytest

from pmcore.engines.gate import Answer, HoldToLift, Proof, passed_since, still_failed, wanted
from pmcore.engines.vocabulary import HoldReason, Outcome


def answer(
    step: str, outcome: Outcome, *, procedure: int = 1, source: str | None = None, right: bool = False
) -> Answer:
    return Answer(procedure, step, source, outcome, right)


FAILED, PASSED = Outcome.FAILED, Outcome.PASSED


@pytest.mark.parametrize(
    ("answers", "left"),
    [
        ([], ()),
        ([answer("brakes", FAILED)], ("brakes",)),
        ([answer("brakes", FAILED), answer("brakes", PASSED)], ()),
        ([answer("brakes", PASSED), answer("brakes", FAILED)], ("brakes",)),
        ([answer("brakes", FAILED), answer("brakes", Outcome.NOT_TESTED)], ("brakes",)),
        ([answer("brakes", FAILED), answer("brakes", Outcome.NOT_APPLICABLE)], ("brakes",)),
        ([answer("brakes", FAILED), answer("brakes", Outcome.PROTECTION_OPERATED)], ("brakes",)),
        ([answer("brakes", FAILED), answer("brakes", PASSED, procedure=2)], ("brakes",)),
        ([answer("up", FAILED, source="mains"), answer("up", PASSED, source="battery")], ("up",)),
        ([answer("up", FAILED, source="mains"), answer("up", FAILED, source="battery")], ("up",)),
        ([answer("leakage", FAILED, right=True)], ()),
        ([answer("leakage", FAILED, right=True), answer("leakage", FAILED)], ("leakage",)),
    ],
)
def test_the_last_answer_to_a_step_counts(answers: list[Answer], left: tuple[str, ...]) -> None:
    assert still_failed(answers) == left


@pytest.mark.parametrize(
    ("answers", "shown"),
    [
        ([], False),
        ([answer("labels", Outcome.NOT_APPLICABLE)], False),
        ([answer("labels", PASSED)], False),  # nothing failed, or what failed was taken back
        ([answer("brakes", FAILED)], False),
        ([answer("brakes", FAILED), answer("labels", PASSED)], False),
        ([answer("brakes", FAILED), answer("brakes", PASSED)], True),
        ([answer("leakage", FAILED, right=True)], True),
    ],
)
def test_only_what_failed_is_tested_again(answers: list[Answer], shown: bool) -> None:
    assert passed_since(answers) is shown


def test_every_reason_of_a_hold_wants_something() -> None:
    strict = {reason for reason in HoldReason if wanted(reason) is not Proof.REPAIRED}
    assert strict == {
        "inspection_failed", "found_again", "unknown_history", "incomplete_part_set", "donor_of_parts",
    }  # fmt: skip


@pytest.mark.parametrize(
    ("proof", "shown", "manager"),
    [
        (Proof.TESTED_AGAIN, False, True),
        (Proof.TESTED_AGAIN, True, False),
        (Proof.INCOMING, False, True),
        (Proof.JUDGEMENT, False, True),
        (Proof.REPAIRED, False, False),
        (Proof.REPAIRED, True, False),
    ],
)
def test_a_manager_judges_where_proof_could_have_been_recorded(proof: Proof, shown: bool, manager: bool) -> None:
    hold = HoldToLift(1, "other", dt.date(2026, 6, 1), None, proof, shown)
    assert hold.needs_manager is manager
