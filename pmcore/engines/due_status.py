"""What a due inspection is on a date.

The states are tried in order of precedence, and the first whose condition holds is the answer. `state_on` is the plain
reading of the rules; `states_on` gives the same answers for columns of a million.
"""

from collections.abc import Callable, Sequence
from dataclasses import dataclass, fields
from datetime import date
from typing import Self

import numpy as np
from numpy.typing import NDArray

from pmcore.engines.records import DueInspection
from pmcore.engines.vocabulary import DueState

STATES = tuple(DueState)

Days = NDArray[np.datetime64]
Truth = NDArray[np.bool_]


@dataclass(frozen=True, slots=True)
class DueColumns:
    """Many `DueInspection`s, a datetime64[D] array of one length for each field; NaT: it has not happened."""

    opens_on: Days
    due_on: Days
    closes_on: Days
    next_opens_on: Days
    completed_on: Days
    withdrawn_on: Days
    left_on: Days
    left_recorded_on: Days
    sealed_on: Days
    sealed_recorded_on: Days
    unsealed_on: Days
    reason_on: Days

    @classmethod
    def of(cls, dues: Sequence[DueInspection]) -> Self:
        return cls(*(_column(dues, field.name) for field in fields(cls)))


def state_on(due: DueInspection, as_of: date) -> DueState:
    """The state on `as_of`, a day that counts whole: done on it is done, and a window that closes on it is open."""
    return next(state for state, holds in _PRECEDENCE if holds(due, as_of))


def is_explained(due: DueInspection, as_of: date) -> bool:
    """Closed, undone, and a reason stands: an accepted one, or a departure in time that was recorded too late."""
    if state_on(due, as_of) not in (DueState.OVERDUE, DueState.NOT_MET):
        return False
    left_unrecorded = _by(due.left_on, due.due_on) and _by(due.left_recorded_on, as_of)
    return _by(due.reason_on, as_of) or left_unrecorded


def _is_withdrawn(due: DueInspection, as_of: date) -> bool:
    return _by(due.withdrawn_on, as_of)


def _is_ended(due: DueInspection, as_of: date) -> bool:
    left_in_time = _by(due.left_on, due.due_on) and _by(due.left_recorded_on, due.closes_on)
    return left_in_time and _by(due.left_on, as_of)


def _is_met(due: DueInspection, as_of: date) -> bool:
    return _by(due.completed_on, as_of) and _by(due.completed_on, due.closes_on)


def _is_suspended(due: DueInspection, as_of: date) -> bool:
    """Stored since before the opening, done or not. Unsealed while the window was open, it is due again; later, it
    stays excused."""
    stored = _before(due.sealed_on, due.opens_on) and _before(due.sealed_recorded_on, due.opens_on)
    unsealed = _by(due.unsealed_on, min(as_of, due.closes_on))
    return stored and not unsealed and as_of >= due.opens_on


def _is_met_late(due: DueInspection, as_of: date) -> bool:
    return _by(due.completed_on, as_of)


def _is_ahead(due: DueInspection, as_of: date) -> bool:
    return as_of < due.opens_on


def _is_open(due: DueInspection, as_of: date) -> bool:
    return as_of <= due.closes_on


def _is_not_met(due: DueInspection, as_of: date) -> bool:
    """No longer to be made up for: the next window has opened, or the device is gone."""
    return _by(due.next_opens_on, as_of) or _by(due.left_on, as_of)


def _is_overdue(due: DueInspection, as_of: date) -> bool:
    return as_of > due.closes_on


_PRECEDENCE: tuple[tuple[DueState, Callable[[DueInspection, date], bool]], ...] = (
    (DueState.WITHDRAWN, _is_withdrawn),
    (DueState.ENDED, _is_ended),
    (DueState.SUSPENDED, _is_suspended),
    (DueState.MET, _is_met),
    (DueState.MET_LATE, _is_met_late),
    (DueState.AHEAD, _is_ahead),
    (DueState.OPEN, _is_open),
    (DueState.NOT_MET, _is_not_met),
    (DueState.OVERDUE, _is_overdue),
)


def states_on(dues: DueColumns, as_of: date) -> NDArray[np.int8]:
    """The place in `STATES` of the state of each due inspection on `as_of`."""
    day = np.datetime64(as_of, "D")
    # What has not happened is NaT, which is neither before nor after anything.
    done = dues.completed_on <= day
    stored = (dues.sealed_on < dues.opens_on) & (dues.sealed_recorded_on < dues.opens_on)
    unsealed = dues.unsealed_on <= np.minimum(day, dues.closes_on)
    left = dues.left_on <= day
    recorded_in_time = dues.left_recorded_on <= dues.closes_on
    precedence: tuple[tuple[DueState, Truth], ...] = (
        (DueState.WITHDRAWN, dues.withdrawn_on <= day),
        (DueState.ENDED, left & (dues.left_on <= dues.due_on) & recorded_in_time),
        (DueState.SUSPENDED, stored & ~unsealed & (dues.opens_on <= day)),
        (DueState.MET, done & (dues.completed_on <= dues.closes_on)),
        (DueState.MET_LATE, done),
        (DueState.AHEAD, day < dues.opens_on),
        (DueState.OPEN, day <= dues.closes_on),
        (DueState.NOT_MET, (dues.next_opens_on <= day) | left),
    )
    codes = [np.int8(STATES.index(state)) for state, _ in precedence]
    return np.select([truth for _, truth in precedence], codes, np.int8(STATES.index(DueState.OVERDUE)))


def are_explained(dues: DueColumns, as_of: date) -> Truth:
    """`is_explained` for columns."""
    day = np.datetime64(as_of, "D")
    undone = np.isin(states_on(dues, as_of), [STATES.index(DueState.OVERDUE), STATES.index(DueState.NOT_MET)])
    left_unrecorded = (dues.left_on <= dues.due_on) & (dues.left_recorded_on <= day)
    return undone & ((dues.reason_on <= day) | left_unrecorded)


def _by(happened_on: date | None, day: date) -> bool:
    return happened_on is not None and happened_on <= day


def _before(happened_on: date | None, day: date) -> bool:
    return happened_on is not None and happened_on < day


def _column(dues: Sequence[DueInspection], name: str) -> Days:
    return np.array([getattr(due, name) for due in dues], dtype="datetime64[D]")
