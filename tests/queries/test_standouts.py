"""What stands out, and two groups against each other."""

import datetime as dt
from typing import Any

import pytest
from django.db import connection
from django.test.utils import CaptureQueriesContext

from pmcore.engines.rates import rate_ratio
from pmcore.engines.vocabulary import RateGrouping, StandoutFamily, Subsystem
from pmcore.queries.parameters import BadParameters
from pmcore.queries.reliability_compared import ComparisonReport, Pair, Ratio, compare
from pmcore.queries.reliability_filter import ReliabilityFilter
from pmcore.queries.reliability_page import reliability_page
from pmcore.queries.reliability_rows import reliability_inputs
from pmcore.queries.reliability_standouts import StandoutsReport, standouts
from tests.reliability_cast import Fleet, a_fleet

pytestmark = pytest.mark.django_db

STATEMENTS = 19  # three of them ask for the size of the history and its next entry


def fail(fleet: Fleet, devices: list[int], times: int, subsystem: Subsystem = Subsystem.CONTROLS) -> None:
    """So often, in turn, on different days."""
    for number in range(times):
        fleet.find(devices[number % len(devices)], dt.date(2026, 1, 5) + dt.timedelta(days=number), subsystem)


def screened(fleet: Fleet, **asked: Any) -> StandoutsReport:
    return standouts(ReliabilityFilter(**asked), **fleet.ask())


def against(fleet: Fleet, pair: Pair, **asked: Any) -> ComparisonReport:
    return compare(ReliabilityFilter(**asked), pair, **fleet.ask())


@pytest.fixture
def fleet() -> Fleet:
    return a_fleet()


@pytest.fixture
def bad_revision(fleet) -> Fleet:
    """Five devices of each revision: A failed three times, B twenty-four times."""
    fail(fleet, [fleet.add(revision="A") for _ in range(5)], 3)
    fail(fleet, [fleet.add(revision="B") for _ in range(5)], 24)
    return fleet


def test_a_bad_revision_stands_out_and_is_told_once(bad_revision):
    """27 failures fall 3 : 24 to equal exposures; of two revisions one comparison is made."""
    report = screened(bad_revision)
    assert report.compared == 1
    (told,) = report.standouts
    assert (told.family, told.key, told.against) == (
        StandoutFamily.REVISION, bad_revision.revisions["B"], bad_revision.revisions["A"]
    )  # fmt: skip
    assert (told.events, told.other_events, told.more_often) == (24, 3, True)
    expected = rate_ratio(24, 5, 3, 5)
    assert (told.ratio, told.lower, told.p_value) == pytest.approx((expected.ratio, expected.lower, expected.p_value))
    assert told.at_stake == pytest.approx(24 * (1 - 1 / told.lower))


def test_what_follows_from_it_stands_beside_it(bad_revision):
    """The model as a whole then fails more often than the other one, which never did."""
    bad_revision.add("Chert")
    for _ in range(12):
        bad_revision.add("Chert")
    (told,) = screened(bad_revision).standouts
    assert told.family is StandoutFamily.REVISION
    (beside,) = told.beside
    assert (beside.family, beside.events, beside.other_events) == (StandoutFamily.MODEL, 27, 0)
    assert (beside.ratio, beside.upper) == (None, None)
    assert beside.lower > 1


def test_fewer_than_five_failures_are_not_compared(fleet):
    fail(fleet, [fleet.add(revision="A") for _ in range(30)], 0)
    fail(fleet, [fleet.add(revision="B")], 4)
    report = screened(fleet)
    assert (report.compared, report.too_few, report.standouts) == (0, 1, ())


def test_of_several_sites_each_is_compared_with_the_others(fleet):
    ward = [fleet.add(area="Ward 6") for _ in range(4)]
    fail(fleet, ward, 20, Subsystem.DRIVE)
    fail(fleet, [fleet.add() for _ in range(9)], 5, Subsystem.DRIVE)
    (told,) = screened(fleet).standouts
    assert (told.family, told.key) == (StandoutFamily.SITE, fleet.sites["Stennet"])
    assert told.other_events == 5
    assert told.other_exposure_years == pytest.approx(10 * 365 / 365.25)  # the hospital's own device is one of them


def test_the_same_difference_stands_out_less_among_many(fleet):
    """10 against 2 in equal exposures has the p-value 0.039: enough alone, not among four by Benjamini and Hochberg."""
    fail(fleet, [fleet.add(revision="A") for _ in range(5)], 2)
    fail(fleet, [fleet.add(revision="B") for _ in range(5)], 10)
    (alone,) = screened(fleet).standouts
    assert alone.p_value == pytest.approx(2 * 79 / 4096)
    marls = [fleet.add(revision=label) for label in ("A", "B")]
    for subsystem in (Subsystem.DRIVE, Subsystem.ALARMS, Subsystem.SOFTWARE):
        fail(fleet, marls, 6, subsystem)
    among = screened(fleet)
    assert (among.compared, among.standouts) == (4, ())


def test_without_anything_nothing_is_compared(fleet):
    report = screened(fleet, sites=frozenset({fleet.sites["Stennet"]}))
    assert (report.compared, report.too_few, report.standouts) == (0, 0, ())


def test_two_chosen_groups(bad_revision):
    b, a = bad_revision.revisions["B"], bad_revision.revisions["A"]
    (found,) = against(bad_revision, Pair(RateGrouping.REVISION, b, a)).comparisons
    assert (found.group.label, found.reference.label) == ("Orvane Marl revision B", "Orvane Marl revision A")
    assert (found.group.events, found.reference.events) == (24, 3)
    assert found.crude.ratio == pytest.approx(8)
    (others,) = against(bad_revision, Pair(RateGrouping.REVISION, b)).comparisons
    assert others.reference.exposure_years == pytest.approx(6 * 365 / 365.25)


def test_subsystems_share_their_exposure(bad_revision):
    fail(bad_revision, [bad_revision.add()], 5, Subsystem.DRIVE)
    (found,) = against(bad_revision, Pair(RateGrouping.SUBSYSTEM, "drive")).comparisons
    assert found.group.exposure_years == found.reference.exposure_years == pytest.approx(12 * 365 / 365.25)
    assert found.crude.ratio == pytest.approx(5 / 27)


def test_nothing_failed_on_one_side(bad_revision):
    """27 against none: a ratio of 0 one way round, none and no upper limit the other."""
    (found,) = against(bad_revision, Pair(RateGrouping.SUBSYSTEM, "drive", "controls")).comparisons
    assert (found.crude.ratio, found.crude.lower) == (0, 0)
    (other,) = against(bad_revision, Pair(RateGrouping.SUBSYSTEM, "controls", "drive")).comparisons
    assert (other.crude.ratio, other.crude.upper) == (None, None)
    assert other.crude.lower == pytest.approx(1 / found.crude.upper)


def test_within_strata_the_ratio_can_point_the_other_way(fleet):
    """Worked by hand. Theatre: A 1 in 1 year, B 12 in 20; ward: A 3 in 20, B 0 in 1. Crude, B fails more often:
    (12 / 21) ÷ (4 / 21) = 3. Within each it fails less: R = 12·1/21 + 0, S = 1·20/21 + 3·1/21, R / S = 12 / 23."""
    for revision, area, devices, times in (
        ("A", "Theatre 1", 1, 1), ("B", "Theatre 1", 20, 12), ("A", "Ward 6", 20, 3), ("B", "Ward 6", 1, 0)
    ):  # fmt: skip
        fail(fleet, [fleet.add(area=area, revision=revision) for _ in range(devices)], times)
    pair = Pair(RateGrouping.REVISION, fleet.revisions["B"], fleet.revisions["A"])
    (found,) = against(fleet, pair).comparisons
    assert found.crude.ratio == pytest.approx(3)
    assert (found.within.by, found.within.strata, found.within.opposed) == ("site", 2, True)
    assert found.within.ratio == pytest.approx(12 / 23)
    (at_one_site,) = against(fleet, pair, sites=frozenset({fleet.sites["Stennet"]})).comparisons
    assert at_one_site.within is None


def test_nothing_failed_on_either(bad_revision):
    (found,) = against(bad_revision, Pair(RateGrouping.SUBSYSTEM, "drive", "alarms")).comparisons
    assert found.crude == Ratio(None, None, None, None)


def test_a_group_that_there_is_not_is_named(fleet):
    with pytest.raises(BadParameters) as refused:
        against(fleet, Pair(RateGrouping.REVISION, 987654, fleet.revisions["A"]))
    assert refused.value.errors == {"group": "There is no revision 987654."}
    with pytest.raises(BadParameters, match="compared with itself"):
        against(fleet, Pair(RateGrouping.REVISION, fleet.revisions["A"], fleet.revisions["A"]))


@pytest.mark.parametrize("devices", [1, 40])
def test_the_page_takes_a_fixed_number_of_statements(fleet, devices):
    fail(fleet, [fleet.add(revision="A") for _ in range(devices)], devices)
    for grouping in RateGrouping:
        with CaptureQueriesContext(connection) as captured:
            reliability_page(ReliabilityFilter(), group_by=grouping, pair=None, **fleet.ask())
        assert len(captured) == STATEMENTS


def test_the_inputs_add_up_to_the_rates(bad_revision):
    report = bad_revision.rates(RateGrouping.SUBSYSTEM)
    inputs = reliability_inputs(ReliabilityFilter(), **bad_revision.ask())
    assert len(inputs.failures) == report.events == 27
    assert sum(row.years for row in inputs.exposure) == pytest.approx(report.exposure_years)
    assert {row.where.revision for row in inputs.failures} == {"A", "B"}
    assert [row.discovered_on for row in inputs.failures] == sorted(row.discovered_on for row in inputs.failures)
