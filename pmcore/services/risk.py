"""How equipment is scored, what a device class scores, and one device's class set by a person against the score."""

import datetime as dt
from collections.abc import Mapping

from pmcore.engines.records import Actor
from pmcore.engines.risk import RISK_ORDER
from pmcore.engines.vocabulary import RiskClass
from pmcore.models import RiskAssessment, RiskOverride, RiskPoints, RiskScore, RiskTable, RiskTableValues
from pmcore.models.rows import Row
from pmcore.queries.head import head
from pmcore.queries.risk import RiskFacts, risk_facts
from pmcore.services.append import append
from pmcore.services.corrections import ReasonMissing
from pmcore.services.permissions import check_device, use_case
from pmcore.services.plan_rules import check_from_today
from pmcore.services.plans import SignedTwiceByOne
from pmcore.services.refusals import RecordRefused
from pmcore.services.requests import Receipt, Request


class SecondSignatureMissing(RecordRefused):
    """A lower risk class takes the signatures of two people."""


class UnknownLevel(RecordRefused):
    """The table has no points for that level of that factor, or a factor is left out."""


class NothingToScore(RecordRefused):
    """A table of risk has at least one factor with a level."""


@use_case("assess risk", "risk_table_named")
def name_risk_table(
    *,
    name: str,
    source: str,
    points: Mapping[tuple[str, str], int],
    included_from: int,
    high_risk_from: int,
    from_on: dt.date,
    actor: Actor,
    at: dt.datetime,
    request: Request | None = None,
) -> Receipt:
    """A way to score: the points of each (factor, level), the sum from which equipment is in the programme, and from
    which it is high-risk. Raises NothingToScore, BadValue, NotAllowed."""
    if not points:
        raise NothingToScore("A table of risk has at least one factor with a level.")
    table = Row(RiskTable)
    values = Row(
        RiskTableValues, table=table, from_on=from_on, name=name, source=source, included_from=included_from,
        high_risk_from=high_risk_from,
    )  # fmt: skip
    lines = [
        Row(RiskPoints, values=values, factor=factor, level=level, points=worth)
        for (factor, level), worth in points.items()
    ]
    return append("risk_table_named", table, [table, values, *lines], actor=actor, at=at, request=request)


@use_case("assess risk", "risk_assessed")
def assess_class(
    *,
    device_class: int,
    table: int,
    levels: Mapping[str, str],
    assessed_by: int,
    from_on: dt.date,
    actor: Actor,
    at: dt.datetime,
    second_signature: int | None = None,
    request: Request | None = None,
) -> Receipt:
    """What a device class scores from a day on: of each factor of the table its level. A lower risk class than before
    looks forward only and takes a second signature.

    Raises UnknownLevel, SecondSignatureMissing, SignedTwiceByOne, DatedBack, UnknownReference, NotAllowed.
    """
    facts = risk_facts(head().size)
    becomes = _scored(facts, device_class, table, levels, from_on)
    before = facts.of_class(device_class, from_on)
    lowered = _is_lower(becomes, before)
    _check_signatures((assessed_by, second_signature), lowered=lowered, from_on=from_on, at=at)
    assessment = Row(
        RiskAssessment, device_class=device_class, from_on=from_on, table=table, assessed_by=assessed_by,
        second_signature=second_signature,
    )  # fmt: skip
    scores = [Row(RiskScore, assessment=assessment, factor=factor, level=level) for factor, level in levels.items()]
    return append("risk_assessed", device_class, [assessment, *scores], actor=actor, at=at, request=request)


@use_case("assess risk", "risk_overridden")
def override_risk(
    *,
    device: int,
    risk_class: RiskClass | None,
    reason: str,
    signed_by: int,
    from_on: dt.date,
    actor: Actor,
    at: dt.datetime,
    second_signature: int | None = None,
    request: Request | None = None,
) -> Receipt:
    """One device's class, against the score, with a reason; none gives it back to the score. A lower class than before
    looks forward only and takes a second signature.

    Raises ReasonMissing, SecondSignatureMissing, SignedTwiceByOne, DatedBack, UnknownReference, WrongSite, NotAllowed.
    """
    if not reason.strip():
        raise ReasonMissing("Say why the score is not right for this device.")
    check_device(actor, device, from_on)
    facts = risk_facts(head().size)
    before = facts.of_device(device, from_on)
    becomes = risk_class or facts.scored(device, from_on)
    lowered = _is_lower(becomes, before)
    _check_signatures((signed_by, second_signature), lowered=lowered, from_on=from_on, at=at)
    row = Row(
        RiskOverride, device=device, from_on=from_on, risk_class=risk_class, reason=reason, signed_by=signed_by,
        second_signature=second_signature,
    )  # fmt: skip
    return append("risk_overridden", device, [row], actor=actor, at=at, request=request)


def _scored(facts: RiskFacts, device_class: int, table: int, levels: Mapping[str, str], from_on: dt.date) -> RiskClass:
    known = facts.points(table, from_on)
    factors = {factor for factor, _ in known}
    wrong = sorted(
        (set(levels) ^ factors) | {factor for factor, level in levels.items() if (factor, level) not in known}
    )
    if wrong:
        raise UnknownLevel(f"The table gives no points for this answer, or none was given: {', '.join(wrong)}.")
    return facts.would_score(device_class, table, levels, from_on)


def _check_signatures(signatures: tuple[int, int | None], *, lowered: bool, from_on: dt.date, at: dt.datetime) -> None:
    first, second = signatures
    if second == first:
        raise SignedTwiceByOne("The second signature is another person's.")
    if not lowered:
        return
    if second is None:
        raise SecondSignatureMissing("A lower risk class takes a second signature.")
    check_from_today(from_on, at)


def _is_lower(becomes: RiskClass, before: RiskClass) -> bool:
    return RISK_ORDER.index(becomes) < RISK_ORDER.index(before)
