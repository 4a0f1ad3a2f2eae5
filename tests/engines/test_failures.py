"""What is one failure, and what is none."""

import datetime as dt
from collections import defaultdict

import pytest
from hypothesis import given
from hypothesis import strategies as st

from pmcore.engines.failures import (
    Finding,
    LeftOut,
    Omitted,
    ReleasedBeforeFound,
    between,
    count_failures,
)
from pmcore.engines.vocabulary import Cause, Discovery, FailureKind, Severity, Subsystem

BEGINS = dt.date(2026, 1, 1)
AS_OF = dt.date(2026, 12, 31)
CONTROLS, BRAKES = Subsystem.CONTROLS, Subsystem.BRAKES


def day(number):
    return BEGINS + dt.timedelta(days=number)


def a_finding(number, on=0, released=None, **differs):
    words = {
        "finding": number,
        "device": 1,
        "subsystem": CONTROLS,
        "root": None,
        "cause": Cause.WEAR,
        "kind": FailureKind.FUNCTIONAL,
        "discovery": Discovery.IN_USE,
        "discovered_on": day(on),
        "severity": Severity.STOPS_USE,
        "released_on": None if released is None else day(released),
    }
    return Finding(**{**words, **differs})


def counted(*findings, as_of=AS_OF):
    return [failure.findings for failure in count_failures(findings, as_of).failures]


def test_two_findings_with_one_root_and_one_use_error_are_one_failure():
    found = count_failures([a_finding(1), a_finding(2, root=1), a_finding(3, root=None, cause=Cause.USE_ERROR)], AS_OF)
    assert [failure.findings for failure in found.failures] == [(1, 2)]
    assert found.left_out == (Omitted(3, LeftOut.USE_ERROR),)


def test_and_so_they_are_where_one_of_the_two_is_the_use_error():
    assert counted(a_finding(1), a_finding(2, root=1, cause=Cause.USE_ERROR)) == [(1,)]


def test_it_is_one_failure_per_device_and_subsystem():
    assert counted(a_finding(1), a_finding(2, root=1, device=2), a_finding(3, root=1, subsystem=BRAKES)) == [
        (1,),
        (2,),
        (3,),
    ]


def test_another_root_is_another_failure():
    assert counted(a_finding(1), a_finding(2)) == [(1,), (2,)]


def test_roots_are_followed_to_the_last():
    assert counted(a_finding(3, root=2), a_finding(2, root=1), a_finding(1)) == [(1, 2, 3)]
    assert counted(a_finding(3, root=1), a_finding(2, root=1)) == [(2, 3)]  # the first lies outside what is asked


def test_a_ring_of_roots_is_one_failure():
    assert counted(a_finding(1, root=3), a_finding(2, root=1), a_finding(3, root=2), a_finding(4, root=4)) == [
        (1, 2, 3),
        (4,),
    ]


def test_found_again_after_the_release_it_is_another_failure():
    assert counted(a_finding(1, 0, released=10), a_finding(2, 9, released=10, root=1)) == [(1, 2)]
    assert counted(a_finding(1, 0, released=10), a_finding(2, 11, root=1)) == [(1,), (2,)]


def test_on_the_day_of_the_release_it_depends_on_what_was_released():
    assert counted(a_finding(1, 0, released=10), a_finding(2, 10, released=10, root=1)) == [(1, 2)]
    assert counted(a_finding(1, 0, released=10), a_finding(2, 10, released=20, root=1)) == [(1,), (2,)]
    assert counted(a_finding(1, 5, released=5), a_finding(2, 5, released=5, root=1)) == [(1, 2)]


def test_it_is_not_over_before_the_last_of_it_is_released():
    findings = [a_finding(1, 0, released=10), a_finding(2, 5, released=20, root=1), a_finding(3, 15, 20, root=1)]
    failure = count_failures(findings, AS_OF).failures[0]
    assert (failure.findings, failure.released_on) == ((1, 2, 3), day(20))
    assert count_failures([*findings, a_finding(4, 18, root=1)], AS_OF).failures[0].released_on is None


def test_a_release_after_the_day_asked_for_has_not_happened():
    findings = [a_finding(1, 0, released=10), a_finding(2, 12, root=1)]
    assert count_failures(findings, day(9)).failures[0].released_on is None
    assert count_failures(findings, day(9)).left_out == (Omitted(2, LeftOut.NOT_YET_FOUND),)
    assert counted(*findings, as_of=day(12)) == [(1,), (2,)]


@pytest.mark.parametrize(
    ("differs", "why"),
    [
        ({"cause": Cause.USE_ERROR}, LeftOut.USE_ERROR),
        ({"cause": Cause.NO_FAULT_FOUND}, LeftOut.NO_FAULT_FOUND),
        ({"discovery": Discovery.INCOMING}, LeftOut.INCOMING),
        ({"kind": FailureKind.COSMETIC}, LeftOut.COSMETIC),
        ({"kind": FailureKind.NONE}, LeftOut.NOT_A_FAILURE),
        ({"discovered_on": AS_OF + dt.timedelta(days=1)}, LeftOut.NOT_YET_FOUND),
    ],
)
def test_what_is_no_failure_is_left_out_with_the_reason(differs, why):
    found = count_failures([a_finding(1, **differs), a_finding(2)], AS_OF)
    assert [failure.findings for failure in found.failures] == [(2,)]
    assert found.left_out == (Omitted(1, why),)


def test_functional_and_potential_ones_are_counted_apart():
    potential = FailureKind.POTENTIAL
    found = count_failures(
        [a_finding(1), a_finding(2, kind=potential), a_finding(3, kind=potential), a_finding(4, root=3)], AS_OF
    )
    assert (found.functional, found.potential) == (2, 1)


def test_it_is_as_severe_as_the_gravest_and_found_as_the_first_was():
    failure = count_failures(
        [
            a_finding(1, 4, severity=Severity.COULD_HARM, discovery=Discovery.INSPECTION, root=2),
            a_finding(2, 3, severity=Severity.MINOR, kind=FailureKind.POTENTIAL),
        ],
        AS_OF,
    ).failures[0]
    assert (failure.findings, failure.root, failure.discovered_on) == ((2, 1), 2, day(3))
    assert (failure.severity, failure.discovery) == (Severity.COULD_HARM, Discovery.IN_USE)
    assert failure.kind == FailureKind.FUNCTIONAL


@pytest.mark.parametrize("cause", sorted(set(Cause) - {Cause.USE_ERROR, Cause.NO_FAULT_FOUND}))
def test_impact_accessory_and_environment_stay_and_leave_interval_evidence(cause):
    failure = count_failures([a_finding(1, cause=cause)], AS_OF).failures[0]
    assert failure.interval_evidence == (cause not in {Cause.IMPACT, Cause.ACCESSORY, Cause.ENVIRONMENT})


def test_between_takes_both_days():
    failures = count_failures([a_finding(number, number) for number in range(6)], AS_OF).failures
    assert [failure.findings[0] for failure in between(failures, day(2), day(4))] == [2, 3, 4]


def test_a_release_before_the_finding_is_refused():
    with pytest.raises(ReleasedBeforeFound, match="finding 7"):
        a_finding(7, 5, released=4)


def test_nothing_found_is_nothing_counted():
    found = count_failures([], AS_OF)
    assert (found.failures, found.left_out, found.functional, found.potential) == ((), (), 0, 0)


@st.composite
def worlds(draw):
    """Findings of two devices that point to earlier ones, found and released on few days, most of them failures."""
    findings = []
    for number in range(draw(st.integers(0, 12))):
        on = draw(st.integers(0, 12))
        stays = draw(st.none() | st.integers(0, 6))
        findings.append(
            a_finding(
                number,
                on,
                None if stays is None else on + stays,
                device=draw(st.sampled_from([1, 2])),
                subsystem=draw(st.sampled_from([CONTROLS, BRAKES])),
                root=draw(st.none() | st.integers(0, number)),
                cause=draw(st.sampled_from([Cause.WEAR, Cause.WEAR, Cause.IMPACT, Cause.USE_ERROR])),
                kind=draw(st.sampled_from([FailureKind.FUNCTIONAL, FailureKind.POTENTIAL, FailureKind.COSMETIC])),
                discovery=draw(st.sampled_from([Discovery.IN_USE, Discovery.INSPECTION, Discovery.INCOMING])),
            )
        )
    return findings, day(draw(st.integers(0, 20)))


def day_after_day(findings, as_of):
    """The plain reading: on each day the morning's failures go on, what is found joins them or begins one, and in the
    evening those of which everything is released are over."""
    pointers = {each.finding: each.root for each in findings}

    def root_of(number):
        while pointers[number] is not None and pointers[number] != number:
            number = pointers[number]
        return number

    ours = [
        each
        for each in findings
        if each.cause != Cause.USE_ERROR and each.kind != FailureKind.COSMETIC and each.discovery != Discovery.INCOMING
    ]
    going_on, over = defaultdict(list), []
    today = BEGINS
    while today <= as_of:
        # What is released today, too, was found before the release; what is not came after it.
        for leaves in (True, False):
            for each in (one for one in ours if one.discovered_on == today and (one.released_on == today) == leaves):
                going_on[each.device, each.subsystem, root_of(each.finding)].append(each)
            for key, members in list(going_on.items()):
                if all(one.released_on is not None and one.released_on <= today for one in members):
                    over.append(members)
                    del going_on[key]
        today += dt.timedelta(days=1)
    return {frozenset(one.finding for one in members) for members in [*over, *going_on.values()]}


@given(worlds())
def test_it_is_what_somebody_would_count_who_watched_day_after_day(world):
    findings, as_of = world
    found = count_failures(findings, as_of)
    assert {frozenset(failure.findings) for failure in found.failures} == day_after_day(findings, as_of)
    everything = [number for failure in found.failures for number in failure.findings]
    everything += [each.finding for each in found.left_out]
    assert sorted(everything) == sorted(each.finding for each in findings)
    days = [failure.discovered_on for failure in found.failures]
    assert days == sorted(days)
