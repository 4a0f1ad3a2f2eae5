"""Repairs that come back: the same device and subsystem, by day 30 after the release."""

import pytest
from hypothesis import given
from hypothesis import strategies as st

from pmcore.engines.compliance import Share
from pmcore.engines.failures import Release, count_failures, returned
from pmcore.engines.vocabulary import Cause
from tests.engines.test_failures import AS_OF, BRAKES, CONTROLS, a_finding, day


def released(device, on, subsystem=CONTROLS, key=None):
    return Release(device, subsystem, day(on), key)


def failures_of(*findings):
    return count_failures(findings, AS_OF).failures


def test_ten_releases_of_which_two_are_too_young_and_one_comes_back_in_time():
    """10 releases, 2 younger than 30 days; two of the rest return, on days 30 and 31: 1/8."""
    releases = [released(device, 100) for device in range(8)] + [released(8, 171), released(9, 200)]
    failures = failures_of(a_finding(1, 130, device=0), a_finding(2, 131, device=1), a_finding(3, 175, device=8))
    found = returned(releases, failures, as_of=day(200))
    assert found.share == Share(1, 8)
    assert found.came_back == (releases[0],)
    assert found.too_young == (releases[8], releases[9])


def test_a_release_exactly_as_old_as_the_limit_is_in():
    assert returned([released(1, 100)], (), as_of=day(130)).share == Share(0, 1)
    assert returned([released(1, 100)], (), as_of=day(129)).share == Share(0, 0)


@pytest.mark.parametrize(
    ("differs", "back"),
    [({}, 1), ({"device": 2}, 0), ({"subsystem": BRAKES}, 0), ({"cause": Cause.USE_ERROR}, 0)],
)
def test_it_is_a_failure_of_the_same_device_and_subsystem(differs, back):
    assert returned([released(1, 100)], failures_of(a_finding(1, 110, **differs)), AS_OF).share == Share(back, 1)


def test_whatever_the_root():
    before, after = a_finding(1, 90, 100), a_finding(2, 105, root=1)
    for again in (after, a_finding(2, 105)):
        assert returned([released(1, 100)], failures_of(before, again), AS_OF).share == Share(1, 1)


def test_on_the_day_of_the_release_what_was_over_that_day_is_no_return():
    release = [released(1, 100)]
    assert returned(release, failures_of(a_finding(1, 100, 100)), AS_OF).share == Share(0, 1)
    assert returned(release, failures_of(a_finding(1, 100, 104)), AS_OF).share == Share(1, 1)
    assert returned(release, failures_of(a_finding(1, 100)), AS_OF).share == Share(1, 1)


def test_it_comes_back_once():
    failures = failures_of(a_finding(1, 101), a_finding(2, 102))
    assert returned([released(1, 100)], failures, AS_OF).share == Share(1, 1)


def test_the_limit_is_a_setting():
    failures = failures_of(a_finding(1, 145))
    assert returned([released(1, 100)], failures, AS_OF, within=45).share == Share(1, 1)


def test_no_release_no_share():
    assert returned([], failures_of(a_finding(1)), AS_OF).share.percent is None


@given(
    st.lists(st.tuples(st.integers(1, 2), st.integers(0, 60), st.sampled_from([CONTROLS, BRAKES])), max_size=10),
    st.lists(
        st.tuples(
            st.integers(1, 2), st.integers(0, 90), st.sampled_from([CONTROLS, BRAKES]), st.none() | st.integers(0, 9)
        ),
        max_size=10,
    ),
    st.integers(0, 90),
)
def test_every_release_is_looked_at_by_itself(releases, found, today):
    asked = [released(device, on, subsystem) for device, on, subsystem in releases]
    findings = [
        a_finding(number, on, None if stays is None else on + stays, device=device, subsystem=subsystem)
        for number, (device, on, subsystem, stays) in enumerate(found)
    ]
    answer = returned(asked, count_failures(findings, day(today)).failures, day(today))
    old = [row for row in releases if row[1] + 30 <= today]
    back = [
        (device, on, subsystem)
        for device, on, subsystem in old
        if any(
            other == device and part == subsystem and on <= seen <= on + 30 and not (seen == on and stays == 0)
            for other, seen, part, stays in found
        )
    ]
    assert answer.share == Share(len(back), len(old))
    assert [(each.device, (each.released_on - day(0)).days, each.subsystem) for each in answer.came_back] == back
    assert len(answer.too_young) == len(releases) - len(old)
