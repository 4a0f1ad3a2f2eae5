"""What the record says of inspections that were not done: who went and could not, and which reason was recorded."""

import datetime as dt
from collections import defaultdict
from collections.abc import Collection, Mapping
from dataclasses import dataclass

from pmcore.engines.vocabulary import AttemptOutcome, ReasonCode
from pmcore.models import Attempt, ReasonNotDone


@dataclass(frozen=True, slots=True)
class Evidence:
    """Of one due inspection: attempts in vain by day and outcome, and reasons by the day from which they stand."""

    attempts: tuple[tuple[dt.date, AttemptOutcome], ...] = ()
    reasons: tuple[tuple[dt.date, ReasonCode], ...] = ()


def evidence_of(dues: Collection[int], *, as_of: dt.date, known: int) -> Mapping[int, Evidence]:
    """By the id of the due inspection, those without any left out: two statements."""
    tried = Attempt.objects.known(known).filter(due_inspection__among=dues, tried_on__lte=as_of)
    said = ReasonNotDone.objects.known(known).filter(due_inspection__among=dues, from_on__lte=as_of)
    attempts: dict[int, list[tuple[dt.date, AttemptOutcome]]] = defaultdict(list)
    reasons: dict[int, list[tuple[dt.date, ReasonCode]]] = defaultdict(list)
    for due, day, outcome in tried.order_by("tried_on", "id").values_list("due_inspection_id", "tried_on", "outcome"):
        attempts[due].append((day, AttemptOutcome(outcome)))
    for due, day, reason in said.order_by("from_on", "id").values_list("due_inspection_id", "from_on", "reason"):
        reasons[due].append((day, ReasonCode(reason)))
    return {due: Evidence(tuple(attempts[due]), tuple(reasons[due])) for due in attempts.keys() | reasons.keys()}
