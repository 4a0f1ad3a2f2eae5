"""The values that figures depend on, set from a day on: windows by length of interval, and single settings."""

import datetime as dt
import re

from pmcore.engines.due_dates import Window, base_length
from pmcore.engines.records import Actor
from pmcore.engines.vocabulary import Basis, Unit, WindowKind
from pmcore.models import IntervalLength, Setting, SettingValue, WindowValue
from pmcore.models.rows import Row
from pmcore.queries.figure_settings import DEFAULTS
from pmcore.services.append import append
from pmcore.services.lock import writing
from pmcore.services.permissions import check_role
from pmcore.services.plan_rules import check_from_today, checked_rule
from pmcore.services.refusals import RecordRefused
from pmcore.services.requests import Receipt, Request, answered


class UnknownSetting(RecordRefused):
    """No figure depends on a value of this name."""


class BadSetting(RecordRefused):
    """The value is no whole number, or smaller than the setting allows."""


def set_window(
    *,
    every: int,
    unit: Unit,
    window: Window,
    from_on: dt.date,
    actor: Actor,
    at: dt.datetime,
    source: str | None = None,
    request: Request | None = None,
) -> Receipt:
    """The window that plans with this length of interval take out of the table, from a day on. 12 months and 1 year are
    one length. A window that plans may already count on is changed from today on at the earliest.

    Raises IntervalRefused, WindowRefused, DatedBack, NotAllowed.
    """
    check_role(actor, "change a setting")
    with writing():
        if (earlier := answered(actor, request, "window_named", "window_changed")) is not None:
            return earlier
        checked_rule(every, unit, Basis.ANCHORED, window, ())
        length = _length(every, unit)
        if length is not None:
            check_from_today(from_on, at)
        row = length or Row(IntervalLength, every=every, unit=unit)
        value = Row(
            WindowValue,
            length=row,
            from_on=from_on,
            kind=window.kind,
            before=window.before if window.kind == WindowKind.DAYS else None,
            after=window.after if window.kind == WindowKind.DAYS else None,
            source=source,
        )
        if isinstance(row, Row):
            return append("window_named", row, [row, value], actor=actor, at=at, request=request)
        return append("window_changed", row, [value], actor=actor, at=at, request=request)


def set_value(
    *,
    name: str,
    value: int | str,
    from_on: dt.date,
    actor: Actor,
    at: dt.datetime,
    request: Request | None = None,
) -> Receipt:
    """The value of a setting from a day on, today at the earliest: what was counted by the one before stays so.

    Raises UnknownSetting, BadSetting, DatedBack, NotAllowed.
    """
    check_role(actor, "change a setting")
    with writing():
        if (earlier := answered(actor, request, "setting_named", "setting_changed")) is not None:
            return earlier
        text = _checked_value(name, value)
        check_from_today(from_on, at)
        setting = Setting.objects.filter(name=name).values_list("pk", flat=True).first()
        row = setting or Row(Setting, name=name)
        said = Row(SettingValue, setting=row, from_on=from_on, value=text)
        if isinstance(row, Row):
            return append("setting_named", row, [row, said], actor=actor, at=at, request=request)
        return append("setting_changed", row, [said], actor=actor, at=at, request=request)


def _length(every: int, unit: Unit) -> int | None:
    """The row of the table for this length, however it was written when it was named."""
    wanted = base_length(every, unit)
    named = IntervalLength.objects.values_list("pk", "every", "unit")
    return next((int(pk) for pk, number, of in named if base_length(number, Unit(of)) == wanted), None)


def _checked_value(name: str, value: int | str) -> str:
    default = DEFAULTS.get(name)
    if default is None:
        raise UnknownSetting(f"There is no setting {name!r}; there are {', '.join(DEFAULTS)}.")
    text = str(value)
    if not re.fullmatch("[0-9]{1,4}", text) or int(text) < default.at_least:
        raise BadSetting(f"{name} is a whole number of days from {default.at_least} to 9999, not {value!r}.")
    return str(int(text))
