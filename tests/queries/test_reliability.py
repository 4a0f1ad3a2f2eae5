"""Failure rates from the record: whose days count, which findings are failures, and what a group is."""

import datetime as dt

import numpy as np
import pytest

from pmcore.engines.poisson_rates import poisson_limits
from pmcore.engines.records import Actor
from pmcore.engines.vocabulary import (
    Cause,
    Discovery,
    FailureEvidence,
    FailureKind,
    RateGrouping,
    Role,
    ServiceStateKind,
    Severity,
    Subsystem,
)
from pmcore.models import Finding, FindingDetails
from pmcore.models.rows import Row
from pmcore.queries.asked import AsOfAhead, BadPeriod, KnownBeyond, OutsideYourSites
from pmcore.queries.head import head
from pmcore.queries.reliability_filter import ReliabilityFilter
from tests.reliability_cast import DECEMBER, Fleet, a_fleet

pytestmark = pytest.mark.django_db

SUBSYSTEM, REVISION, SITE, AREA, MODEL = (
    RateGrouping.SUBSYSTEM, RateGrouping.REVISION, RateGrouping.SITE, RateGrouping.AREA, RateGrouping.MODEL
)  # fmt: skip


def day(month: int, number: int) -> dt.date:
    return dt.date(2026, month, number)


@pytest.fixture
def fleet() -> Fleet:
    """The hospital's own device is a Marl of no revision in Theatre 1."""
    return a_fleet()


def days(report) -> dict[str, int]:
    return {group.label: round(group.exposure_years * 365.25) for group in report.groups}


def events(report) -> dict[str, int]:
    return {group.label: group.events for group in report.groups if group.events}


def test_days_in_service_by_site_area_and_revision(fleet):
    """Rule 27: half-open days, whole history of 365 days for a device that nothing happened to."""
    device = fleet.add(revision="A")
    fleet.move(device, "Ward 6", day(3, 1))
    fleet.revise(device, "B", day(4, 1))
    fleet.hold(device, day(5, 1), until=day(5, 21))
    fleet.say(device, ServiceStateKind.NOT_LOCATED, day(6, 10), last_seen_on=day(6, 1))
    fleet.say(device, ServiceStateKind.IN_SERVICE, day(7, 1))
    assert days(fleet.rates(SITE)) == {"Alderwick General": 365 + 59, "Stennet Point": 365 - 59 - 20 - 30}
    assert days(fleet.rates(AREA)) == {
        "Alderwick General, Theatre 1": 365 + 59, "Stennet Point, Ward 6": 365 - 59 - 20 - 30
    }  # fmt: skip
    assert days(fleet.rates(REVISION)) == {
        "not recorded": 365, "Orvane Marl revision A": 90, "Orvane Marl revision B": 365 - 90 - 20 - 30
    }  # fmt: skip


def test_stored_and_gone_earn_nothing(fleet):
    fleet.say(fleet.add(), ServiceStateKind.STORED, day(2, 1), sealed=True, in_hand=True)
    fleet.say(fleet.add(), ServiceStateKind.LEFT, day(3, 1), departure="sold")
    assert fleet.rates(SITE).exposure_years == pytest.approx((365 + 31 + 59) / 365.25)


def test_the_period_and_the_day_clip_both(fleet):
    fleet.find(fleet.add(), day(2, 10))
    fleet.find(fleet.add(), day(8, 10))
    asked = fleet.rates(SUBSYSTEM, as_of=day(6, 30), starts_on=day(2, 1), ends_on=day(9, 30))
    assert asked.exposure_years == pytest.approx(3 * 150 / 365.25)
    assert (asked.events, asked.starts_on, asked.ends_on) == (1, day(2, 1), day(6, 30))


def test_a_failure_counts_where_the_device_stood_that_day(fleet):
    device = fleet.add(revision="A")
    fleet.find(device, day(2, 10))
    fleet.move(device, "Ward 6", day(3, 1))
    fleet.revise(device, "B", day(3, 1))
    fleet.find(device, day(3, 1))
    fleet.find(device, day(3, 2))
    assert events(fleet.rates(SITE)) == {"Alderwick General": 1, "Stennet Point": 2}
    assert events(fleet.rates(REVISION)) == {"Orvane Marl revision A": 1, "Orvane Marl revision B": 2}


def test_kinds_are_counted_apart_and_what_is_none_is_left_out(fleet):
    """Rule 26."""
    device = fleet.add()
    first = fleet.find(device, day(2, 1))
    fleet.find(device, day(2, 2), same_root_as=first)
    fleet.find(device, day(2, 3), failure=FailureKind.POTENTIAL)
    fleet.find(device, day(2, 4), failure=FailureKind.COSMETIC)
    fleet.find(device, day(2, 5), failure=FailureKind.NONE, cause=Cause.USE_ERROR)
    fleet.find(device, day(2, 6), cause=Cause.NO_FAULT_FOUND)
    fleet.find(device, day(2, 7), discovery=Discovery.INCOMING)
    report = fleet.rates(SUBSYSTEM)
    assert events(report) == {"controls": 1}
    assert {each.reason: each.findings for each in report.left_out} == {
        "same_root": 1, "counted_apart": 1, "cosmetic": 1, "use_error": 1, "no_fault_found": 1, "found_at_incoming": 1
    }  # fmt: skip
    both = fleet.rates(SUBSYSTEM, kinds=frozenset({FailureKind.FUNCTIONAL, FailureKind.POTENTIAL}))
    assert [(group.kind, group.events) for group in both.groups if group.events] == [
        ("functional", 1),
        ("potential", 1),
    ]


def test_released_and_found_again_is_another_failure(fleet):
    """Rule 26: from discovery until release."""
    device = fleet.add()
    first = fleet.find(device, day(2, 1))
    fleet.hold(device, day(2, 1), until=day(2, 5))
    fleet.find(device, day(2, 20), same_root_as=first)
    assert events(fleet.rates(SUBSYSTEM)) == {"controls": 2}


def test_evidence_for_intervals_leaves_impact_out(fleet):
    fleet.find(fleet.add(), day(2, 1), cause=Cause.IMPACT)
    assert fleet.rates(SUBSYSTEM).events == 1
    narrowed = fleet.rates(SUBSYSTEM, evidence=FailureEvidence.FOR_INTERVALS)
    assert narrowed.events == 0
    assert [(each.reason, each.findings) for each in narrowed.left_out] == [("no_evidence_for_intervals", 1)]


def test_narrowed_to_ways_of_discovery_and_subsystems(fleet):
    fleet.find(fleet.add(), day(2, 1))
    fleet.find(fleet.add(), day(2, 1), Subsystem.DRIVE, discovery=Discovery.INSPECTION)
    assert events(fleet.rates(SUBSYSTEM, discoveries=frozenset({Discovery.INSPECTION}))) == {"drive": 1}
    only = fleet.rates(SUBSYSTEM, subsystems=frozenset({Subsystem.CONTROLS}))
    assert [(group.key, group.events) for group in only.groups] == [("controls", 1)]


def test_rates_limits_and_what_is_pulled(fleet):
    for _ in range(3):
        fleet.find(fleet.add(area="Ward 6"), day(2, 1))
    ward, theatre = sorted(fleet.rates(AREA).groups, key=lambda group: group.label, reverse=True)
    assert (ward.events, theatre.events) == (3, 0)
    assert ward.rate == pytest.approx(3 / (3 * 365 / 365.25))
    assert (ward.lower, ward.upper) == pytest.approx(tuple(poisson_limits(3, 3 * 365 / 365.25)))
    assert theatre.rate == theatre.lower == 0
    assert theatre.upper == pytest.approx(3.6889 * 365.25 / 365, abs=1e-3)
    assert theatre.rate < theatre.shrunk <= ward.shrunk < ward.rate


def test_without_exposure_there_is_no_rate(fleet):
    """Held from the first day: it fails, and no time was watched."""
    device = fleet.add("Chert")
    fleet.hold(device, day(1, 1))
    fleet.find(device, day(2, 1))
    (chert,) = (group for group in fleet.rates(MODEL).groups if group.label == "Orvane Chert")
    assert (chert.events, chert.exposure_years, chert.rate, chert.upper, chert.shrunk) == (1, 0.0, None, None, None)


@pytest.mark.parametrize(
    "asked",
    [{"device_models": frozenset({987654})}, {"starts_on": DECEMBER + dt.timedelta(days=9)}, {"areas": frozenset()}],
)
def test_nothing_to_watch_is_no_data(fleet, asked):
    report = fleet.rates(SUBSYSTEM, **asked)
    assert (report.exposure_years, report.devices, report.events) == (0.0, 0, 0)
    assert all(group.rate is None for group in report.groups)
    assert fleet.rates(SITE, **asked).groups == ()


def test_an_earlier_size_gives_the_earlier_answer(fleet):
    fleet.find(fleet.add(), day(2, 1))
    before, size = fleet.rates(SUBSYSTEM), head().size
    fleet.find(fleet.add(), day(2, 1))
    assert fleet.rates(SUBSYSTEM).events == 2
    assert fleet.rates(SUBSYSTEM, as_of=day(10, 31), when={"known": size}).events == 1
    assert fleet.rates(SUBSYSTEM, as_of=day(10, 31), when={"known": size}).exposure_years < before.exposure_years


def test_what_was_believed_on_the_day_counts(fleet):
    finding = fleet.find(fleet.add(), day(2, 1))
    device = Finding.objects.get(pk=finding).device_id
    fleet.write(
        "finding_made", device,
        Row(FindingDetails, finding=finding, from_on=day(5, 1), discovered_on=day(2, 1), discovery=Discovery.IN_USE,
            subsystem=Subsystem.POWER, mode="It was the battery.", cause=Cause.BATTERY, failure=FailureKind.FUNCTIONAL,
            severity=Severity.STOPS_USE),
    )  # fmt: skip
    assert events(fleet.rates(SUBSYSTEM, as_of=day(4, 30))) == {"controls": 1}
    assert events(fleet.rates(SUBSYSTEM, as_of=day(5, 1))) == {"power and battery": 1}


def test_only_the_sites_of_whoever_asks(fleet):
    fleet.find(fleet.add(area="Ward 6"), day(2, 1))
    theirs = Actor(None, Role.AUDITOR, frozenset({fleet.sites["Stennet"]}))
    report = fleet.rates(SITE, when={"actor": theirs})
    assert days(report) == {"Stennet Point": 365}
    assert report.events == 1
    with pytest.raises(OutsideYourSites):
        fleet.rates(SITE, when={"actor": theirs}, sites=frozenset({fleet.sites["Alderwick"]}))


def test_what_cannot_be_asked_is_refused(fleet):
    with pytest.raises(AsOfAhead):
        fleet.rates(SITE, as_of=DECEMBER + dt.timedelta(days=1))
    with pytest.raises(KnownBeyond):
        fleet.rates(SITE, when={"known": head().size + 1})
    with pytest.raises(BadPeriod):
        ReliabilityFilter(starts_on=day(2, 1), ends_on=day(1, 1))


def test_groups_share_out_the_whole_exposure(fleet):
    fleet.add(revision="B")
    fleet.add("Chert", "Ward 6")
    for group_by in (MODEL, REVISION, SITE, AREA):
        report = fleet.rates(group_by)
        assert np.isclose(sum(group.exposure_years for group in report.groups), report.exposure_years)
