"""The values that figures depend on: what counts unless the department says otherwise, and what counted on a day."""

import datetime as dt
from dataclasses import dataclass

from pmcore.engines.due_dates import Window
from pmcore.engines.timeline import timelines
from pmcore.engines.vocabulary import Unit, WindowKind
from pmcore.models import SettingValue, WindowValue


@dataclass(frozen=True, slots=True)
class Default:
    """What counts until the record says otherwise, the least that makes sense, and the rule whose value it is."""

    value: int
    at_least: int
    rule: int
    rule_name: str


DEFAULTS: dict[str, Default] = {
    "late_entry_working_days": Default(3, 0, 22, "Late entries"),
    "restart_days": Default(14, 1, 4, "Complete"),
    "search_days": Default(2, 1, 19, "Not located"),
    "search_record_working_days": Default(2, 0, 19, "Not located"),
    "return_days": Default(30, 1, 28, "Repairs that come back"),
}
"""Every setting there is, by name. All of them are whole numbers."""


class FigureSettings:
    """The settings day by day, as known at a size of the history: one statement.

    `late_entry_working_days`: recorded later than so many working days after it was performed, an inspection is listed.
    `restart_days`: parts of one inspection further apart restart the steps affected.
    `search_days`: on so many days somebody must have looked for a device that counts as not located.
    `search_record_working_days`: so many working days after the close these attempts may still be recorded.
    `return_days`: reported again by this day after its release, a repair has come back.
    """

    def __init__(self, known: int) -> None:
        said = SettingValue.objects.known(known).filter(setting__name__in=DEFAULTS).order_by("from_on", "id")
        rows = said.values_list("setting__name", "from_on", "value")
        self._said = timelines((name, from_on, int(value)) for name, from_on, value in rows)

    def on(self, name: str, day: dt.date) -> int:
        """The value of the setting in force on the day."""
        said = self._said[name].on(day) if name in self._said else None
        return DEFAULTS[name].value if said is None else said


WindowTable = tuple[tuple[int, Unit, Window], ...]
"""Rows for `Window.from_table`: the interval's number and unit, and its window."""


def window_table_on(day: dt.date, known: int) -> WindowTable:
    """The table of windows in force on the day, shortest numbers first, as known at a size of the history: one
    statement."""
    rows = WindowValue.objects.known(known).on(day).order_by("length__every", "length__unit")
    values = rows.values_list("length__every", "length__unit", "kind", "before", "after")
    return tuple((every, Unit(unit), window_of_columns(*columns)) for every, unit, *columns in values)


def window_of_columns(kind: str, before: int | None, after: int | None) -> Window:
    """A stored window. Raises BadWindow for one that refers to the table."""
    return Window(WindowKind(kind), before or 0, after or 0)
