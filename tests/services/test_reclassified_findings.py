"""What is thought of a finding changes from a day on; what was thought before stays as it was."""

import datetime as dt
from typing import Any

import pytest

from pmcore.engines.vocabulary import Cause, FailureKind, Role, Severity
from pmcore.models import FindingDetails
from pmcore.queries.head import head
from pmcore.queries.verification import verify
from pmcore.services.corrections import ReasonMissing
from pmcore.services.device_days import InTheFuture
from pmcore.services.findings import (
    KindContradicts,
    LaterViewStands,
    SameAsBefore,
    SecondPersonIsYou,
    TrainingMissing,
    reclassify_finding,
)
from pmcore.services.holds import FindingOfAnother
from pmcore.services.refusals import NotAllowed, UnknownReference, WrongSite
from pmcore.services.requests import Receipt
from tests.bench_cast import Bench, a_bench, assert_refused
from tests.cast import AT, a_person
from tests.fault_cast import JUNE_1, JUNE_10, a_line, finding_of, found, hold_of, in_force, minor, released

pytestmark = pytest.mark.django_db


@pytest.fixture
def bench() -> Bench:
    return a_bench()


def seen(bench: Bench, finding: int, **options: Any) -> Receipt:
    given = {"from_on": JUNE_10, "note": "Opened and looked at.", "actor": bench.ruan, "at": AT}
    return reclassify_finding(finding=finding, **given | options)


def causes(finding: int, *days: dt.date, known: int | None = None) -> list[str]:
    size = head().size if known is None else known
    return [FindingDetails.objects.known(size).on(day).get(finding=finding).cause for day in days]


def test_a_new_view_counts_from_its_day_on_and_the_one_before_stays(bench: Bench) -> None:
    finding = finding_of(found(bench))
    seen(bench, finding, cause=Cause.IMPACT, mode="The motor's mount is bent.")
    assert causes(finding, JUNE_1, JUNE_10) == [Cause.WEAR, Cause.IMPACT]
    view = FindingDetails.objects.current().get(finding=finding, from_on=JUNE_10)
    assert (view.mode.words, view.note.words) == ("The motor's mount is bent.", "Opened and looked at.")
    assert (view.discovered_on, view.discovery, view.severity) == (JUNE_1, "reported_in_use", "stops_use")
    assert verify().sound


def test_of_one_day_the_last_view_counts_and_what_was_known_before_is_told_as_before(bench: Bench) -> None:
    finding = finding_of(found(bench))
    size = head().size
    seen(bench, finding, from_on=JUNE_1, cause=Cause.BATTERY)
    assert causes(finding, JUNE_1) == [Cause.BATTERY]
    assert causes(finding, JUNE_1, known=size) == [Cause.WEAR]
    assert verify().sound


def test_to_use_error_it_takes_a_training_and_a_second_person(bench: Bench) -> None:
    finding = finding_of(found(bench))
    blamed: dict[str, Any] = {"cause": Cause.USE_ERROR, "training_on": JUNE_10}
    assert_refused(TrainingMissing, lambda: seen(bench, finding, cause=Cause.USE_ERROR))
    assert_refused(TrainingMissing, lambda: seen(bench, finding, **blamed))
    assert_refused(SecondPersonIsYou, lambda: seen(bench, finding, second_person=bench.ruan.person, **blamed))
    seen(bench, finding, second_person=bench.odile.person, **blamed)
    assert causes(finding, JUNE_10) == [Cause.USE_ERROR]


def test_what_turns_grave_holds_the_device_and_no_view_lifts_a_hold(bench: Bench) -> None:
    finding = finding_of(found(bench, minor(discovery="reported_in_use")))
    hold = hold_of(seen(bench, finding, severity=Severity.COULD_HARM))
    assert in_force(bench) == []
    assert [(held.hold, held.finding) for held in in_force(bench, JUNE_10)] == [(hold, finding)]
    seen(bench, finding, from_on=dt.date(2026, 6, 11), severity=Severity.MINOR)
    assert [held.hold for held in in_force(bench, dt.date(2026, 6, 11))] == [hold]


def test_a_grave_finding_that_was_released_is_not_held_again_by_a_new_view(bench: Bench) -> None:
    receipt = found(bench)
    released(bench, hold_of(receipt))
    seen(bench, finding_of(receipt), from_on=dt.date(2026, 6, 20), cause=Cause.IMPACT)
    assert in_force(bench, dt.date(2026, 6, 20)) == []


def test_what_is_wrong_with_a_view_is_refused_by_name(bench: Bench) -> None:
    finding = finding_of(found(bench))
    seen(bench, finding, cause=Cause.IMPACT)
    stranger = a_person("Per Aldous", Role.TECHNICIAN, bench.stennet)
    lead = a_person("Merete Sondvik", Role.CLINICAL_LEAD, bench.alderwick)
    later = {"cause": Cause.WEAR}
    refused: list[tuple[type[Exception], dict[str, Any]]] = [
        (ReasonMissing, {**later, "note": " "}),
        (LaterViewStands, {**later, "from_on": JUNE_1}),
        (InTheFuture, {**later, "from_on": AT.date() + dt.timedelta(days=1)}),
        (SameAsBefore, {"cause": Cause.IMPACT}),
        (SameAsBefore, {}),
        (KindContradicts, {"failure": FailureKind.COSMETIC}),
        (FindingOfAnother, {"same_root_as": finding}),
        (NotAllowed, {**later, "actor": lead}),
        (WrongSite, {**later, "actor": stranger}),
        (UnknownReference, {**later, "finding": 999_999}),
    ]
    for error, options in refused:
        assert_refused(error, lambda options=options: seen(bench, **{"finding": finding} | options))  # type: ignore[misc]


def test_two_findings_turn_out_to_have_one_root(bench: Bench) -> None:
    first = finding_of(found(bench))
    second = finding_of(found(bench, a_line(discovery="reported_in_use")))
    seen(bench, second, same_root_as=first)
    assert FindingDetails.objects.current().get(finding=second, from_on=JUNE_10).same_root_as_id == first
