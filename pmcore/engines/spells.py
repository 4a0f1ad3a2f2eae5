"""What the service states of a device mean for one of its due inspections: had it left, was it sealed away?"""

from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from datetime import date

from pmcore.engines.vocabulary import ServiceStateKind


@dataclass(frozen=True, slots=True)
class StateChange:
    """From this day on the device is in this state; `recorded_on`: the site's day on which that was written."""

    from_on: date
    state: ServiceStateKind
    recorded_on: date
    sealed_in_hand: bool = False


@dataclass(frozen=True, slots=True)
class Spell:
    """An unbroken stretch; `until_on` is the first day after it, None: it lasts."""

    from_on: date
    recorded_on: date
    until_on: date | None


def departures(changes: Sequence[StateChange]) -> list[Spell]:
    """The stretches in which the device was gone from the inventory. `changes` in order of their days."""
    return list(_stretches(changes, [change.state == ServiceStateKind.LEFT for change in changes]))


def seals(changes: Sequence[StateChange]) -> list[Spell]:
    """The stretches in which it was stored, sealed and in hand. Stored without a seal suspends nothing."""
    stored = [change.state == ServiceStateKind.STORED and change.sealed_in_hand for change in changes]
    return list(_stretches(changes, stored))


def departure_for(spells: Sequence[Spell], due_on: date) -> Spell | None:
    """The absence that covers the due date, or else the next one after it."""
    return next((spell for spell in spells if spell.until_on is None or spell.until_on > due_on), None)


def seal_for(spells: Sequence[Spell], opens_on: date) -> Spell | None:
    """The seal in force when the window opened: put on before that day and not off by then."""
    for spell in spells:
        if spell.from_on < opens_on and (spell.until_on is None or spell.until_on > opens_on):
            return spell
    return None


def standing_since(changes: Sequence[tuple[date, bool]]) -> date | None:
    """Of a yes or no that changes: since when the last word has been yes without a break; None: the last word is no.

    What was taken back counts as though it had never been said.
    """
    since: date | None = None
    for from_on, holds in changes:
        since = (since or from_on) if holds else None
    return since


def _stretches(changes: Sequence[StateChange], inside: Sequence[bool]) -> Iterator[Spell]:
    began: StateChange | None = None
    for change, is_inside in zip(changes, inside, strict=True):
        if is_inside and began is None:
            began = change
        elif not is_inside and began is not None:
            yield Spell(began.from_on, began.recorded_on, change.from_on)
            began = None
    if began is not None:
        yield Spell(began.from_on, began.recorded_on, None)
