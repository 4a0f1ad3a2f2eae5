"""What a release rests on: which holds may be lifted by whom, and when it has to say in words on what ground.

A hold asks for something that shows the device fit again. Where the record shows it, a technician signs. Where it does
not, a note says on what ground, and for the holds whose proof could have been recorded, a manager judges and signs.
What shows what is common practice, no source.
"""

from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from datetime import date
from enum import StrEnum

from pmcore.engines.vocabulary import HoldReason, Outcome


class Proof(StrEnum):
    """What would show that a hold can be lifted."""

    TESTED_AGAIN = "tested_again"  # every step that failed was passed later, or left within its limits
    INCOMING = "incoming_inspection"  # a complete incoming inspection since, and no step that failed is still open
    REPAIRED = "repaired"  # a repair of what was found, since
    JUDGEMENT = "judgement"  # nothing that is recorded shows it


_WANTED = {
    HoldReason.INSPECTION_FAILED: Proof.TESTED_AGAIN,
    HoldReason.FOUND_AGAIN: Proof.INCOMING,
    HoldReason.UNKNOWN_HISTORY: Proof.INCOMING,
    HoldReason.INCOMPLETE_PART_SET: Proof.JUDGEMENT,
    HoldReason.DONOR_OF_PARTS: Proof.JUDGEMENT,
}


@dataclass(frozen=True, slots=True)
class HoldToLift:
    """A hold in force. `shown`: the record holds the proof that is `wanted`; `open_steps`: the keys of the steps that
    failed and were not passed since, in the order in which they were answered."""

    hold: int
    reason: str
    placed_on: date
    finding: int | None
    wanted: Proof
    shown: bool
    open_steps: tuple[str, ...] = ()

    @property
    def needs_manager(self) -> bool:
        return not self.shown and self.wanted is not Proof.REPAIRED


@dataclass(frozen=True, slots=True)
class Answer:
    """How a step of a procedure was answered. `set_right`: it failed, and was left within its limits."""

    procedure: int
    step: str
    energy_source: str | None
    outcome: str
    set_right: bool = False


def wanted(reason: str) -> Proof:
    """What lifts a hold for this reason; a repair, where nothing else is said."""
    return _WANTED.get(HoldReason(reason), Proof.REPAIRED)


def passed_since(answers: Sequence[Answer]) -> bool:
    """Something failed, and all of it was passed since or left within its limits. Of answers in the order in which they
    were given."""
    return any(answer.outcome == Outcome.FAILED for answer in answers) and not still_failed(answers)


def still_failed(answers: Iterable[Answer]) -> tuple[str, ...]:
    """Of answers in the order in which they were given, the keys of the steps whose last one is that they failed. Not
    tested and not applicable take nothing back."""
    last: dict[tuple[int, str, str | None], Answer] = {}
    for answer in answers:
        if answer.outcome in {Outcome.PASSED, Outcome.FAILED}:
            last[answer.procedure, answer.step, answer.energy_source] = answer
    failed = [each.step for each in last.values() if each.outcome == Outcome.FAILED and not each.set_right]
    return tuple(dict.fromkeys(failed))
