"""The values that figures depend on: what counts unless the department says otherwise, and what counted on a day."""

import datetime as dt
from dataclasses import dataclass

from pmcore.engines.due_dates import Window
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


@dataclass(frozen=True, slots=True)
class FigureSettings:
    """The settings as they counted on a day.

    `late_entry_working_days`: recorded later than so many working days after it was performed, an inspection is listed.
    `restart_days`: parts of one inspection further apart restart the steps affected.
    `search_days`: on so many days somebody must have looked for a device that counts as not located.
    `search_record_working_days`: so many working days after the close these attempts may still be recorded.
    `return_days`: reported again by this day after its release, a repair has come back.
    """

    late_entry_working_days: int
    restart_days: int
    search_days: int
    search_record_working_days: int
    return_days: int


def settings_on(day: dt.date, known: int) -> FigureSettings:
    """The settings in force on the day, as known at a size of the history: one statement."""
    said = SettingValue.objects.known(known).on(day).filter(setting__name__in=DEFAULTS)
    values = {name: default.value for name, default in DEFAULTS.items()}
    values |= {name: int(value) for name, value in said.values_list("setting__name", "value")}
    return FigureSettings(**values)


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
