"""The parameters of a question about reliability, as an address gives them: the same words for page and interface."""

import datetime as dt
from dataclasses import dataclass

from pmcore.engines.vocabulary import Discovery, FailureEvidence, FailureKind, RateGrouping, Subsystem
from pmcore.queries.parameters import Given, Parameters, a_day, a_number, a_word_of
from pmcore.queries.reliability_compared import Pair
from pmcore.queries.reliability_filter import ReliabilityFilter
from pmcore.queries.reliability_scope import KINDS

FILTER = ("from", "to", "device_class", "device_model", "revision", "site", "area", "subsystem", "kind", "discovery",
          "evidence")  # fmt: skip
WHEN = ("as_of", "known")
PAIR = ("group_by", "group", "reference")


@dataclass(frozen=True, slots=True)
class ReliabilityAsked:
    """What was asked for; None where nothing was said."""

    filter: ReliabilityFilter
    as_of: dt.date | None
    known: int | None
    group_by: RateGrouping | None
    pair: Pair | None


def parse(given: Given) -> ReliabilityAsked:
    """Raises BadParameters."""
    return read(Parameters(given, (*FILTER, *WHEN, *PAIR)))


def read(asked: Parameters) -> ReliabilityAsked:
    """The same from parameters of which others may have been read before, or some of which there are not. Raises
    BadParameters for whatever was wrong with any of them."""
    first, last = asked.one("from", a_day), asked.one("to", a_day)
    if first is not None and last is not None and first > last:
        asked.errors["to"] = f"The period begins on {first}, after its end on {last}."
    numbers = {name: asked.many(name, a_number) for name in _NUMBERS}
    subsystems, kinds = asked.many("subsystem", a_word_of(Subsystem)), asked.many("kind", a_kind)
    discoveries, evidence = (
        asked.many("discovery", a_word_of(Discovery)),
        asked.one("evidence", a_word_of(FailureEvidence)),
    )
    as_of, known = asked.one("as_of", a_day), asked.one("known", a_number)
    group_by = asked.one("group_by", a_word_of(RateGrouping))
    pair = _pair(asked, group_by)
    asked.refuse()
    chosen = ReliabilityFilter(
        first, last, numbers["device_class"], numbers["device_model"], numbers["revision"], numbers["site"],
        numbers["area"], subsystems, kinds or frozenset({FailureKind.FUNCTIONAL}), discoveries,
        evidence or FailureEvidence.ALL,
    )  # fmt: skip
    return ReliabilityAsked(chosen, as_of, known, group_by, pair)


_NUMBERS = ("device_class", "device_model", "revision", "site", "area")


def a_kind(text: str) -> FailureKind:
    """The kinds that are counted; cosmetic findings are no failures."""
    if text not in KINDS:
        raise ValueError(f"{text!r} is none of {', '.join(KINDS)}.")
    return FailureKind(text)


def _pair(asked: Parameters, group_by: RateGrouping | None) -> Pair | None:
    """Both groups are named as `group_by` names them: by a subsystem's word, or an id."""
    grouping = group_by or RateGrouping.SUBSYSTEM
    key = a_word_of(Subsystem) if grouping is RateGrouping.SUBSYSTEM else a_number
    group, reference = asked.one("group", key), asked.one("reference", key)
    if group is None:
        if "reference" in asked.given and "reference" not in asked.errors:
            asked.errors.setdefault("group", "Say which group is compared with the reference.")
        return None
    return Pair(grouping, group, reference)
