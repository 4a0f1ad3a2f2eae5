"""Which alerts are about something that is still so."""

import datetime as dt
from collections.abc import Iterable, Mapping, Sequence
from itertools import chain

from pmcore.engines.due_status import STATES, states_on
from pmcore.engines.vocabulary import AlertKind, DueState
from pmcore.models import Alert
from pmcore.queries.alert_grounds import LATE
from pmcore.queries.assigned import assigned_among
from pmcore.queries.due_list import DueItem
from pmcore.queries.missed_windows import missed_windows
from pmcore.queries.read_standings import standings_for
from pmcore.queries.running_out import running_out
from pmcore.queries.standing_catalogue import catalogue
from pmcore.queries.standing_holds import standing_holds

_STANDS_WHILE = {
    AlertKind.DUE_UNASSIGNED: {DueState.AHEAD, DueState.OPEN},
    AlertKind.OPENED: {DueState.OPEN},
    AlertKind.OVERDUE: {DueState.OVERDUE},
    AlertKind.HIGH_RISK_OVERDUE: {DueState.OVERDUE},
}


def still_standing(
    alerts: Sequence[Alert], *, today: dt.date, known: int, dues: Mapping[int, DueItem] | None = None
) -> set[int]:
    """Ids of those whose matter is still to be done on the day, as known at a size of the history; a fixed number of
    statements. `dues`: the due inspections among them as they stand, where they were read already."""
    of_dues = [each for each in alerts if each.kind in _STANDS_WHILE]
    of_holds = [each for each in alerts if each.kind == AlertKind.LONG_HOLD]
    of_instruments = [each for each in alerts if each.kind == AlertKind.CALIBRATION]
    if dues is None:
        open_dues = _dues(of_dues, today, known)
    else:
        # What follows a window that was missed is not among what was read.
        missed = [each for each in of_dues if _is_not_met(dues.get(each.about))]
        open_dues = chain(_of_items(of_dues, dues), _dues(missed, today, known))
    return {*open_dues, *_holds(of_holds, today, known), *_instruments(of_instruments, today, known)}


def _is_not_met(due: DueItem | None) -> bool:
    return due is not None and due.state is DueState.NOT_MET


def _dues(alerts: Sequence[Alert], today: dt.date, known: int) -> Iterable[int]:
    if not alerts:
        return
    facts = catalogue(known)
    found = standings_for({each.about for each in alerts}, catalogue=facts)
    missed = missed_windows(found, as_of=today, catalogue=facts)
    states = dict(zip(found.due_inspection.tolist(), states_on(found, today).tolist(), strict=True))
    unassigned = [each.about for each in alerts if each.kind == AlertKind.DUE_UNASSIGNED]
    given = assigned_among(unassigned, as_of=today, known=known)
    for each in alerts:
        state = states.get(each.about)
        taken = each.kind == AlertKind.DUE_UNASSIGNED and each.about in given
        stands = state is not None and STATES[state] in _STANDS_WHILE[AlertKind(each.kind)]
        if (stands and not taken) or (each.kind in LATE and each.about in missed):
            yield each.pk


def _of_items(alerts: Iterable[Alert], dues: Mapping[int, DueItem]) -> Iterable[int]:
    for each in alerts:
        due = dues.get(each.about)
        taken = each.kind == AlertKind.DUE_UNASSIGNED and due is not None and bool(due.assigned)
        if due is not None and due.state in _STANDS_WHILE[AlertKind(each.kind)] and not taken:
            yield each.pk


def _holds(alerts: Sequence[Alert], today: dt.date, known: int) -> Iterable[int]:
    held = standing_holds(on=today, known=known, holds={each.about for each in alerts}) if alerts else []
    standing = {each.hold for each in held}
    return (each.pk for each in alerts if each.about in standing)


def _instruments(alerts: Sequence[Alert], today: dt.date, known: int) -> Iterable[int]:
    out = running_out(on=today, known=known, by=dt.date.max) if alerts else []
    until = {each.instrument: each.good_until_on.isoformat() for each in out}
    return (each.pk for each in alerts if until.get(each.about) == each.parameters.get("good_until_on"))
