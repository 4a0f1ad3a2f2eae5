"""The holds in force on a device, each with what would show that it can be lifted."""

import datetime as dt
from collections.abc import Iterable, Sequence
from decimal import Decimal

from pmcore.engines.gate import Answer, HoldToLift, Proof, passed_since, still_failed, wanted
from pmcore.engines.readings import Side
from pmcore.engines.vocabulary import InspectionKind, Outcome
from pmcore.models import Reading, RepairedFinding
from pmcore.queries.holds import HoldInForce, holds_in_force
from pmcore.queries.inspections import completed
from pmcore.queries.sheets import limits_on, steps_of

_Told = tuple[dt.date, Answer]


def holds_to_lift(device: int, on: dt.date, known: int) -> tuple[HoldToLift, ...]:
    """In order of their first days, as known at a size of the history. Two statements where nothing holds it, else a
    fixed number."""
    holds = holds_in_force(device, on, known)
    if not holds:
        return ()
    answers = _answers(device, min(hold.placed_on for hold in holds), on, known)
    incoming = [
        done.performed_on
        for done in completed([device], known)
        if done.kind == InspectionKind.INCOMING and done.performed_on <= on and not done.failed
    ]
    repaired = _repaired(device, on, known)
    return tuple(_told(hold, answers, incoming, repaired) for hold in holds)


def _told(
    hold: HoldInForce, answers: Sequence[_Told], incoming: Sequence[dt.date], repaired: dict[int, dt.date]
) -> HoldToLift:
    proof = wanted(hold.reason)
    since = [answer for day, answer in answers if day >= hold.placed_on]
    open_steps = still_failed(since) if proof in {Proof.TESTED_AGAIN, Proof.INCOMING} else ()
    match proof:
        case Proof.TESTED_AGAIN:
            shown = passed_since(since)
        case Proof.INCOMING:
            shown = not open_steps and any(day >= hold.placed_on for day in incoming)
        case Proof.REPAIRED:
            shown = repaired.get(hold.finding or 0, dt.date.min) >= hold.placed_on
        case Proof.JUDGEMENT:
            shown = False
    return HoldToLift(hold.hold, hold.reason, hold.placed_on, hold.finding, proof, shown, open_steps)


def _answers(device: int, since: dt.date, on: dt.date, known: int) -> list[_Told]:
    """With their days, in the order in which they were given."""
    rows = Reading.objects.known(known).filter(
        session__inspection__device=device, session__performed_on__gte=since, session__performed_on__lte=on
    )
    columns = (
        "session__performed_on", "session__version_id", "session__version__procedure_id", "step", "energy_source",
        "outcome", "as_left", "as_left_second",
    )  # fmt: skip
    found = list(rows.order_by("session__performed_at", "session", "id").values_list(*columns))
    right = _Limits({row[1] for row in found}, on, known)
    return [
        (day, Answer(procedure, step, source, outcome, outcome == Outcome.FAILED and right.within(version, step, left)))
        for day, version, procedure, step, source, outcome, *left in found
    ]


class _Limits:
    """What the steps of some sheets are held against on a day."""

    def __init__(self, versions: Iterable[int], on: dt.date, known: int) -> None:
        self._steps = steps_of(sorted(versions), known)
        named = {step.limit for steps in self._steps.values() for step in steps if step.limit is not None}
        self._limits = limits_on(named, on, known)

    def within(self, version: int, key: str, numbers: Sequence[str | None]) -> bool:
        """Something was read, the step has limits, and all that was read lies within them."""
        step = next((each for each in self._steps.get(version, ()) if each.key == key), None)
        given = [Decimal(number) for number in numbers if number is not None]
        if step is None or not given:
            return False
        bounds = step.bounds(self._limits.get(step.limit or 0))
        return bounds.limited and all(bounds.side(number) is Side.WITHIN for number in given)


def _repaired(device: int, on: dt.date, known: int) -> dict[int, dt.date]:
    """Of each finding that was repaired by the day, the last day on which it was."""
    rows = RepairedFinding.objects.known(known).filter(
        details__repair__device=device, details__performed_on__lte=on
    ).order_by("details__performed_on")  # fmt: skip
    return dict(rows.values_list("finding_id", "details__performed_on"))
