"""Windows by length of interval and single settings: set from a day on, and what is refused."""

import datetime as dt
from typing import Any

import pytest

from pmcore.engines.due_dates import Window
from pmcore.engines.vocabulary import Role, Unit
from pmcore.models import Entry, WindowValue
from pmcore.queries.figure_settings import DEFAULTS, FigureSettings, window_table_on
from pmcore.queries.head import head
from pmcore.queries.verification import verify
from pmcore.services.figure_settings import BadSetting, UnknownSetting, set_value, set_window
from pmcore.services.plan_rules import DatedBack, IntervalRefused, WindowRefused
from pmcore.services.refusals import NotAllowed
from pmcore.services.requests import Receipt, Request
from tests.cast import AT, JANUARY, Hospital, a_person

pytestmark = pytest.mark.django_db

TODAY = AT.date()
YESTERDAY, TOMORROW = TODAY - dt.timedelta(days=1), TODAY + dt.timedelta(days=1)


def a_window(hospital: Hospital, **changed: Any) -> Receipt:
    asked = {"every": 12, "unit": Unit.MONTH, "window": Window.days(30, 30), "from_on": JANUARY}
    return set_window(**{**asked, "actor": hospital.odile, "at": AT, **changed})


def a_value(hospital: Hospital, **changed: Any) -> Receipt:
    asked = {"name": "return_days", "value": 28, "from_on": TODAY}
    return set_value(**{**asked, "actor": hospital.odile, "at": AT, **changed})


def table_on(day: dt.date) -> Any:
    return window_table_on(day, head().size)


def kinds_since(size: int) -> list[str]:
    return list(Entry.objects.filter(seq__gt=size).order_by("seq").values_list("kind", flat=True))


def test_a_window_is_named_once_and_changed_from_a_day_on(hospital: Hospital) -> None:
    size = head().size
    a_window(hospital, source="Policy 4, edition 2")
    a_window(hospital, window=Window.calendar_month(), from_on=TOMORROW)
    assert kinds_since(size) == ["window_named", "window_changed"]
    assert table_on(TODAY) == ((12, Unit.MONTH, Window.days(30, 30)),)
    assert table_on(TOMORROW) == ((12, Unit.MONTH, Window.calendar_month()),)
    assert WindowValue.objects.current().get(from_on=JANUARY).source == "Policy 4, edition 2"
    assert verify().sound


def test_a_year_and_twelve_months_are_one_row_of_the_table(hospital: Hospital) -> None:
    a_window(hospital)
    a_window(hospital, every=1, unit=Unit.YEAR, window=Window.days(10, 10), from_on=TODAY)
    assert table_on(TODAY) == ((12, Unit.MONTH, Window.days(10, 10)),)


def test_a_window_that_plans_may_count_on_is_not_changed_for_the_past(hospital: Hospital) -> None:
    a_window(hospital)
    size = head().size
    with pytest.raises(DatedBack):
        a_window(hospital, window=Window.days(60, 60), from_on=YESTERDAY)
    assert head().size == size


@pytest.mark.parametrize(
    ("changed", "error"),
    [
        ({"every": 0}, IntervalRefused),
        ({"every": 2.5}, IntervalRefused),
        ({"unit": "fortnight"}, IntervalRefused),
        ({"every": 4, "unit": Unit.WEEK, "window": Window.days(14, 14)}, WindowRefused),
        ({"every": 4, "unit": Unit.WEEK, "window": Window.calendar_month()}, WindowRefused),
        ({"window": "table"}, WindowRefused),
    ],
)
def test_a_window_that_does_not_fit_its_interval_is_refused(
    hospital: Hospital, changed: dict[str, Any], error: type[Exception]
) -> None:
    size = head().size
    with pytest.raises(error):
        a_window(hospital, **changed)
    assert head().size == size
    assert table_on(TODAY) == ()


def test_until_somebody_says_otherwise_the_defaults_count(hospital: Hospital) -> None:
    settings = FigureSettings(head().size)
    assert {name: settings.on(name, TODAY) for name in DEFAULTS} == {
        "late_entry_working_days": 3,
        "restart_days": 14,
        "search_days": 2,
        "search_record_working_days": 2,
        "return_days": 30,
    }
    assert {name: default.rule for name, default in DEFAULTS.items()} == {
        "late_entry_working_days": 22,
        "restart_days": 4,
        "search_days": 19,
        "search_record_working_days": 19,
        "return_days": 28,
    }


def test_a_setting_is_named_once_and_counts_from_its_day_on(hospital: Hospital) -> None:
    size = head().size
    a_value(hospital)
    a_value(hospital, value="21", from_on=TOMORROW)
    assert kinds_since(size) == ["setting_named", "setting_changed"]
    said = [FigureSettings(head().size).on("return_days", day) for day in (YESTERDAY, TODAY, TOMORROW)]
    assert said == [30, 28, 21]
    assert FigureSettings(head().size).on("restart_days", TODAY) == 14


def test_a_setting_that_figures_counted_on_is_not_changed_for_the_past(hospital: Hospital) -> None:
    with pytest.raises(DatedBack):
        a_value(hospital, name="late_entry_working_days", value=9999, from_on=YESTERDAY)


def test_what_was_known_of_the_settings_stays_as_it_was(hospital: Hospital) -> None:
    a_value(hospital)
    a_window(hospital)
    known = head().size
    a_value(hospital, value=5, from_on=TOMORROW)
    a_window(hospital, window=Window.days(1, 1), from_on=TODAY)
    assert FigureSettings(known).on("return_days", TODAY) == 28
    assert window_table_on(TODAY, known) == ((12, Unit.MONTH, Window.days(30, 30)),)


def test_settings_and_windows_cost_a_statement_each(hospital: Hospital, django_assert_num_queries: Any) -> None:
    for every in range(1, 8):
        a_window(hospital, every=every, window=Window.days(3, 3))
    a_value(hospital)
    known = head().size
    with django_assert_num_queries(1):
        assert len(window_table_on(TODAY, known)) == 7
    with django_assert_num_queries(1):
        assert FigureSettings(known).on("return_days", TODAY) == 28


@pytest.mark.parametrize(
    ("changed", "error"),
    [
        ({"name": "patience"}, UnknownSetting),
        ({"value": "soon"}, BadSetting),
        ({"value": "2.5"}, BadSetting),
        ({"value": -1}, BadSetting),
        ({"value": True}, BadSetting),
        ({"value": "٣"}, BadSetting),
        ({"value": 10_000}, BadSetting),
        ({"name": "search_days", "value": 0}, BadSetting),
    ],
)
def test_a_setting_that_makes_no_sense_is_refused(
    hospital: Hospital, changed: dict[str, Any], error: type[Exception]
) -> None:
    size = head().size
    with pytest.raises(error):
        a_value(hospital, **changed)
    assert head().size == size


def test_who_manages_nothing_sets_nothing(hospital: Hospital) -> None:
    auditor = a_person("Wim Ostrava-Keel", Role.AUDITOR, hospital.alderwick)
    size = head().size
    for deed in (a_window, a_value):
        with pytest.raises(NotAllowed):
            deed(hospital, actor=auditor)
    assert head().size == size


def test_a_retry_gets_the_first_receipt(hospital: Hospital) -> None:
    for deed, key in ((a_window, "window"), (a_value, "value")):
        request = Request.of(key, {"asked": key})
        first, again = deed(hospital, request=request), deed(hospital, request=request)
        assert (again.seq, again.repeated) == (first.seq, True)
