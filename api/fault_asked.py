"""What lists of fault reports, findings, holds and releases are asked with."""

from enum import StrEnum
from typing import Any

from api.documented import DAY, YES_OR_NO, Parameter, one_of, several
from api.views import When
from pmcore.engines.records import Actor
from pmcore.engines.vocabulary import HoldReason, Severity, Subsystem
from pmcore.queries.fault_pages import Asked, FaultsFilter
from pmcore.queries.parameters import Parameters, a_day, a_number, a_word_of, yes_or_no


def filters_of(name: str, happened: str, *more: Parameter) -> tuple[Parameter, ...]:
    """`name`: of the parameter that gives their own ids; `happened`: what happened on the day that is asked for."""
    return (
        several(name, "Only these, by id."),
        several("site", "Only on devices that stand at these sites, by id."),
        several("device", "Only on these devices, by id."),
        Parameter(f"{happened}_from", f"The first day on which they were {happened}.", DAY),
        Parameter(f"{happened}_to", f"The last day on which they were {happened}.", DAY),
        *more,
    )


def yes_no(name: str, says: str) -> Parameter:
    return Parameter(name, says, YES_OR_NO)


def words_of(name: str, says: str, vocabulary: type[StrEnum]) -> Parameter:
    return several(name, says, one_of(vocabulary))


def read_filter(asked: Parameters, name: str, happened: str, unsettled: str = "") -> FaultsFilter:
    """`unsettled`: the name of the parameter that asks whether something is still to be done."""
    given: dict[str, Any] = {
        "ids": asked.many(name, a_number),
        "sites": asked.many("site", a_number),
        "devices": asked.many("device", a_number),
        "since": asked.one(f"{happened}_from", a_day),
        "until": asked.one(f"{happened}_to", a_day),
        "unsettled": asked.one(unsettled, yes_or_no) if unsettled else None,
        "subsystems": asked.many("subsystem", a_word_of(Subsystem)),
        "severities": asked.many("severity", a_word_of(Severity)),
        "reasons": asked.many("reason", a_word_of(HoldReason)),
        "stood_since": asked.one("stood_from", a_day),
        "stood_until": asked.one("stood_to", a_day),
    }
    return FaultsFilter(**given)


def asked_with(chosen: FaultsFilter, when: When, actor: Actor, after: int | None, limit: int) -> Asked:
    return Asked(chosen, when.as_of, when.known, actor, after, limit)
