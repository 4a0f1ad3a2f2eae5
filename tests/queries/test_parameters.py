"""What an address asks is read strictly: every fault is named by its parameter, nothing is guessed."""

import datetime as dt

import pytest

from pmcore.engines.vocabulary import Grouping, PlanBasis, RiskClass, ServiceStateKind
from pmcore.queries import devices_asked
from pmcore.queries.compliance import ComplianceFilter
from pmcore.queries.compliance_asked import BadParameters, parse, read
from pmcore.queries.devices import DeviceFilter
from pmcore.queries.parameters import Parameters, a_number


def faults(**given):
    given = {name.rstrip("_"): value if isinstance(value, list) else [value] for name, value in given.items()}
    with pytest.raises(BadParameters) as refused:
        parse(given)
    return refused.value.errors


def test_everything_that_can_be_said():
    asked = parse(
        {
            "from": ["2026-02-03"], "to": ["2026-02-04"], "as_of": ["2026-10-31"], "known": ["12"], "since": ["5"],
            "site": ["3", "4"], "area": ["5,6"], "device_class": ["7,8", "9"], "risk_class": ["high_risk"],
            "basis": ["maker,regulation"], "group_by": ["month"],
        }
    )  # fmt: skip
    assert asked.filter == ComplianceFilter(
        dt.date(2026, 2, 3),
        dt.date(2026, 2, 4),
        frozenset({3, 4}),
        frozenset({5, 6}),
        frozenset({7, 8, 9}),
        frozenset({RiskClass.HIGH_RISK}),
        frozenset({PlanBasis.MAKER, PlanBasis.REGULATION}),
    )
    assert (asked.as_of, asked.known, asked.since, asked.group_by) == (dt.date(2026, 10, 31), 12, 5, Grouping.MONTH)


@pytest.mark.parametrize(
    ("month", "last"), [("2026-09", "2026-09-30"), ("2024-02", "2024-02-29"), ("2025-12", "2025-12-31")]
)
def test_a_month_is_its_first_and_last_day(month, last):
    asked = parse({"period": [month]}).filter
    assert (asked.starts_on, asked.ends_on) == (dt.date.fromisoformat(f"{month}-01"), dt.date.fromisoformat(last))


@pytest.mark.parametrize(
    ("given", "says"),
    [
        ({}, {"period": "Say which period"}),
        ({"period": "2026-13"}, {"period": "no month"}),
        ({"period": "２０２６-09"}, {"period": "no month"}),
        ({"period": "2026-09", "from_": "2026-09-01"}, {"period": "Say which period"}),
        ({"from_": "2026-09-02", "to": "2026-09-01"}, {"to": "begins on 2026-09-02"}),
        ({"from_": "2026-02-30", "to": "2026-03-01"}, {"from": "no date"}),
        ({"period": "2026-09", "as_of": "31.10.2026"}, {"as_of": "no date"}),
        ({"period": "2026-09", "known": "-1"}, {"known": "no whole number"}),
        ({"period": "2026-09", "known": ["1", "2"]}, {"known": "given 2 times"}),
        ({"period": "2026-09", "known": "9" * 19}, {"known": "no whole number"}),
        ({"period": "2026-09", "site": "AG"}, {"site": "no whole number"}),
        ({"period": "2026-09", "site": "3,,4"}, {"site": "no whole number"}),
        ({"period": "2026-09", "basis": "makers"}, {"basis": "none of maker, alternate_programme"}),
        ({"period": "2026-09", "sites": "3"}, {"sites": "There is no parameter 'sites'; there are period, from, to"}),
        ({"period": "x", "site": "y", "z": "1"}, {"period": "", "site": "", "z": ""}),
    ],
)
def test_every_fault_is_named(given, says):
    found = faults(**given)
    assert found.keys() == says.keys()
    for name, words in says.items():
        assert words in found[name]


def test_what_else_was_wrong_is_said_at_the_same_time():
    asked = Parameters({"period": ["x"], "explain": ["many"]}, ("period", "explain"))
    asked.one("explain", a_number)
    with pytest.raises(BadParameters) as refused:
        read(asked)
    assert refused.value.errors.keys() == {"period", "explain"}


def test_devices_are_asked_for_in_the_same_words():
    given = {"words": ["marl t-1"], "site": ["3"], "state": ["stored,left"]}
    asked = Parameters(given, devices_asked.NAMES)
    states = frozenset({ServiceStateKind.STORED, ServiceStateKind.LEFT})
    assert devices_asked.devices_filter(asked) == DeviceFilter(words="marl t-1", sites=frozenset({3}), states=states)
    assert asked.errors == {}


def test_what_is_wrong_with_the_devices_asked_for_is_named():
    asked = Parameters({"words": ["a\u200bb"], "area": ["1,x"], "state": ["lost"], "tag": ["x"]}, devices_asked.NAMES)
    devices_asked.devices_filter(asked)
    assert asked.errors.keys() == {"words", "area", "state", "tag"}
