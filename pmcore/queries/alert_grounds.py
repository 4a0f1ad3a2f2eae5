"""What calls for an alert on a day: each rule held against what is due, held or runs out, as known at a size of the
history."""

import datetime as dt
from collections.abc import Collection, Iterable, Iterator, Sequence
from dataclasses import dataclass, field

import numpy as np
from numpy.typing import NDArray

from pmcore.engines.due_status import STATES, states_on
from pmcore.engines.vocabulary import AlertKind, DueState, RiskClass
from pmcore.models import DueInspection
from pmcore.queries.alert_rules import RuleOnADay
from pmcore.queries.assigned import assigned_among
from pmcore.queries.missed_windows import missed_windows
from pmcore.queries.read_standings import standings_between, standings_for, standings_on
from pmcore.queries.running_out import running_out
from pmcore.queries.standing_catalogue import Catalogue, catalogue
from pmcore.queries.standing_holds import standing_holds
from pmcore.queries.standing_rows import RISK_CLASSES, Standings

GRAVE = (RiskClass.LIFE_SUPPORT, RiskClass.HIGH_RISK)
OF_DUES = frozenset({AlertKind.DUE_UNASSIGNED, AlertKind.OPENED, AlertKind.OVERDUE, AlertKind.HIGH_RISK_OVERDUE})

LATE = frozenset({AlertKind.OVERDUE, AlertKind.HIGH_RISK_OVERDUE})
_OLD_NEWS = 7
"""A missed window whose last step of a rule has passed for more days than that is told to nobody any more."""

Truth = NDArray[np.bool_]


@dataclass(frozen=True, slots=True)
class Ground:
    """One matter at one step of a rule. `about`: the due inspection, hold or instrument; `occasion`: tells one time
    from the next, where a matter comes again; `parameters`: the days that the sentence speaks of."""

    rule: RuleOnADay
    days: int
    site: int
    about: int
    device: int | None
    occasion: str = ""
    parameters: dict[str, str] = field(default_factory=dict)

    @property
    def key(self) -> str:
        """The same matter, step and occasion have the same key for ever."""
        return f"{self.rule.rule}:{self.about}:{self.occasion}:{self.days}"


@dataclass(frozen=True, slots=True)
class Looked:
    """At which sites one looks on which of their days; `opened_from`: windows that opened before are old news.
    `devices` None: at everything; else at these alone, and at no instrument."""

    today: dt.date
    sites: frozenset[int]
    opened_from: dt.date
    devices: frozenset[int] | None = None


def grounds(rules: Iterable[RuleOnADay], looked: Looked, known: int) -> list[Ground]:
    """In no particular order; a fixed number of statements, whatever stands there."""
    in_use = [rule for rule in rules if rule.enabled and (rule.site is None or rule.site in looked.sites)]
    by_kind = {kind: [rule for rule in in_use if rule.kind is kind] for kind in AlertKind}
    found: list[Ground] = []
    of_dues = [rule for rule in in_use if rule.kind in OF_DUES]
    if of_dues:
        found += _of_dues(of_dues, looked, catalogue(known))
    if by_kind[AlertKind.LONG_HOLD]:
        found += _of_holds(by_kind[AlertKind.LONG_HOLD], looked, known)
    if by_kind[AlertKind.CALIBRATION] and looked.devices is None:
        found += _of_instruments(by_kind[AlertKind.CALIBRATION], looked, known)
    return found


@dataclass(frozen=True, slots=True)
class _Beside:
    """What standings do not tell: due inspections that are `given` to somebody, and those whose window was `missed`."""

    given: Collection[int]
    missed: Collection[int]


def _of_dues(rules: Sequence[RuleOnADay], looked: Looked, facts: Catalogue) -> Iterator[Ground]:
    back = max((max(rule.days) + _OLD_NEWS for rule in rules if rule.kind in LATE), default=0)
    first = looked.today - dt.timedelta(days=back)
    if looked.devices is not None:
        closing = opening = standings_on(looked.devices, catalogue=facts)
    else:
        ahead = max((max(rule.days) for rule in rules if rule.kind is AlertKind.DUE_UNASSIGNED), default=0)
        last = looked.today + dt.timedelta(days=ahead)
        closing = standings_between(first, last, as_of=looked.today, catalogue=facts, sites=looked.sites)
        opening = standings_for(_opening(looked, facts.known), catalogue=facts)
    recent = closing.where(closing.closes_on >= np.datetime64(first, "D"))
    missed = missed_windows(recent, as_of=looked.today, catalogue=facts) if back else frozenset()
    beside = _Beside(_given(closing, rules, looked, facts.known), missed)
    for rule in rules:
        found = opening if rule.kind is AlertKind.OPENED else closing
        here = np.isin(found.site, list(looked.sites)) if rule.site is None else found.site == rule.site
        for days in rule.days:
            wanted = _calls(rule.kind, days, found, looked, beside) & here
            yield from _dues(rule, days, found.where(wanted))


def _opening(looked: Looked, known: int) -> list[int]:
    """Due inspections whose windows open on the days in question; the index by closing day does not help, and once a
    day the whole table may be read."""
    rows = DueInspection.objects.known(known).filter(opens_on__range=(looked.opened_from, looked.today))
    return list(rows.values_list("pk", flat=True))


def _given(found: Standings, rules: Iterable[RuleOnADay], looked: Looked, known: int) -> Collection[int]:
    """Which of those not yet closed are given to somebody: one statement, where a rule wants to know."""
    if all(rule.kind is not AlertKind.DUE_UNASSIGNED for rule in rules):
        return ()
    waiting = found.where(found.closes_on >= np.datetime64(looked.today, "D"))
    return assigned_among(waiting.due_inspection.tolist(), as_of=looked.today, known=known).keys()


def _calls(kind: AlertKind, days: int, found: Standings, looked: Looked, beside: _Beside) -> Truth:
    """Which of the due inspections call for an alert at this step of a rule of this kind."""
    day, states = np.datetime64(looked.today, "D"), states_on(found, looked.today)
    left = (found.closes_on - day).astype(np.int64)
    calls: Truth
    match kind:
        case AlertKind.DUE_UNASSIGNED:
            waiting = np.isin(states, [STATES.index(DueState.AHEAD), STATES.index(DueState.OPEN)])
            calls = waiting & (left <= days) & ~np.isin(found.due_inspection, list(beside.given))
        case AlertKind.OPENED:
            recent = found.opens_on >= np.datetime64(looked.opened_from, "D")
            calls = recent & (states == STATES.index(DueState.OPEN))
        case _:
            late = (states == STATES.index(DueState.OVERDUE)) | np.isin(found.due_inspection, list(beside.missed))
            calls = late & (-left >= days)
            if kind is AlertKind.HIGH_RISK_OVERDUE:
                calls &= np.isin(found.risk_class, [RISK_CLASSES.index(each) for each in GRAVE])
    return calls


def _dues(rule: RuleOnADay, days: int, found: Standings) -> Iterator[Ground]:
    columns = (found.due_inspection, found.device, found.site, found.opens_on, found.closes_on)
    for due, device, site, opens_on, closes_on in zip(*(column.tolist() for column in columns), strict=True):
        said = {"opens_on": opens_on.isoformat(), "closes_on": closes_on.isoformat()}
        yield Ground(rule, days, site, due, device, parameters=said)


def _of_holds(rules: Sequence[RuleOnADay], looked: Looked, known: int) -> Iterator[Ground]:
    shortest = min(min(rule.days) for rule in rules)
    placed_by = looked.today - dt.timedelta(days=shortest)
    held = standing_holds(on=looked.today, known=known, placed_by=placed_by, devices=looked.devices)
    for rule in rules:
        for each in held:
            if each.site not in looked.sites or rule.site not in (None, each.site):
                continue
            said = {"placed_on": each.placed_on.isoformat(), "reason": each.reason}
            for days in rule.days:
                if (looked.today - each.placed_on).days >= days:
                    yield Ground(rule, days, each.site, each.hold, each.device, parameters=said)


def _of_instruments(rules: Sequence[RuleOnADay], looked: Looked, known: int) -> Iterator[Ground]:
    """The day until which a calibration is good is the occasion: after the next one the same steps come again."""
    last = looked.today + dt.timedelta(days=max(max(rule.days) for rule in rules))
    for rule in rules:
        for each in running_out(on=looked.today, known=known, by=last, sites=looked.sites):
            until = each.good_until_on.isoformat()
            for days in rule.days if rule.site in (None, each.site) else ():
                if (each.good_until_on - looked.today).days <= days:
                    said = {"good_until_on": until}
                    yield Ground(rule, days, each.site, each.instrument, None, until, said)
