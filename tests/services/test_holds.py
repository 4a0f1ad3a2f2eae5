"""Holds: who takes a device out of use, from when until when it counts, and what is refused."""

import datetime as dt
from typing import Any

import pytest

from pmcore.engines.vocabulary import HoldReason, Outcome, Role
from pmcore.models import HoldDetails, Release, ReleasedHold, ReleaseStatement
from pmcore.models.rows import Row
from pmcore.queries.head import head
from pmcore.queries.holds import HoldInForce, holds_in_force
from pmcore.queries.verification import verify
from pmcore.services.corrections import ReasonMissing
from pmcore.services.device_days import InTheFuture, NotYetInRecord
from pmcore.services.holds import (
    AlreadyLifted,
    FindingOfAnother,
    OpenedByAnotherAct,
    place_hold,
    take_back_hold,
)
from pmcore.services.readings import ReadingLine
from pmcore.services.refusals import AlreadyReplaced, NotAllowed, UnknownReference, WrongSite
from pmcore.services.requests import Receipt, Request
from tests.bench_cast import Bench, a_bench, a_finding, assert_refused, moment, recorded
from tests.cast import AT, JANUARY, a_device, a_person
from tests.history import day, written

pytestmark = pytest.mark.django_db

JUNE_1, JUNE_10 = day("2026-06-01"), day("2026-06-10")
ONE_DAY = dt.timedelta(days=1)


@pytest.fixture
def bench() -> Bench:
    return a_bench()


def held(bench: Bench, from_on: dt.date = JUNE_1, **options: Any) -> Receipt:
    given = {"device": bench.device, "reason": HoldReason.WAITING_FOR_PART, "actor": bench.ruan, "at": AT} | options
    return place_hold(from_on=from_on, **given)


def details_of(receipt: Receipt) -> HoldDetails:
    found: HoldDetails = HoldDetails.objects.get(entry=receipt.seq)
    return found


def released(bench: Bench, on: dt.date, *holds: int) -> ReleaseStatement:
    release = Row(Release, device=bench.device)
    signed_at = dt.datetime.combine(on, dt.time(9), dt.UTC)
    statement = Row(ReleaseStatement, release=release, signed_at=signed_at, signed_on=on, signed_by=bench.odile.person)
    parts = [Row(ReleasedHold, statement=statement, hold=hold) for hold in holds]
    receipt = written("release_signed", bench.device, release, statement, *parts)
    found: ReleaseStatement = ReleaseStatement.objects.get(entry=receipt.seq)
    return found


def in_force(bench: Bench, on: dt.date, known: int | None = None) -> list[HoldInForce]:
    return holds_in_force(bench.device, on, head().size if known is None else known)


def test_a_hold_is_in_force_from_its_day_on(bench: Bench) -> None:
    finding = a_finding(bench.device, JUNE_1, "drive")
    receipt = held(bench, reason=HoldReason.FINDING, finding=finding, note="It sinks.")
    details = details_of(receipt)
    assert details.placed_by_id == bench.ruan.person
    assert in_force(bench, JUNE_1 - ONE_DAY) == []
    assert in_force(bench, JUNE_1) == [HoldInForce(details.hold_id, "finding", JUNE_1, finding)]
    assert in_force(bench, JUNE_1, known=receipt.seq - 1) == []
    assert verify().sound


def test_only_the_devices_own_holds_count(bench: Bench) -> None:
    held(bench)
    other = a_device(bench.odile, bench.model, "OM-2", bench.theatre)
    assert holds_in_force(other, JUNE_1, head().size) == []


def test_a_release_lifts_the_holds_that_it_names_from_its_day_on(bench: Bench) -> None:
    lifted, left = details_of(held(bench)).hold_id, details_of(held(bench, reason=HoldReason.NOTICE)).hold_id
    size = head().size
    statement = released(bench, JUNE_10, lifted)
    assert [each.hold for each in in_force(bench, JUNE_10 - ONE_DAY)] == [lifted, left]
    assert [each.hold for each in in_force(bench, JUNE_10)] == [left]
    assert [each.hold for each in in_force(bench, JUNE_10, known=size)] == [lifted, left]
    written("release_signed", bench.device, replaces=[statement], note="Signed for another device.")
    assert [each.hold for each in in_force(bench, JUNE_10)] == [lifted, left]


def test_a_hold_says_what_it_is_for_as_of_the_day(bench: Bench) -> None:
    hold = details_of(held(bench)).hold_id
    changed = Row(HoldDetails, hold=hold, from_on=JUNE_10, reason=HoldReason.DONOR_OF_PARTS)
    written("hold_placed", bench.device, changed)
    assert [(each.reason, each.placed_on) for each in in_force(bench, JUNE_1)] == [("waiting_for_a_part", JUNE_1)]
    assert [(each.reason, each.placed_on) for each in in_force(bench, JUNE_10)] == [("donor_of_parts", JUNE_1)]


@pytest.mark.parametrize("role", [Role.AUDITOR, Role.CLINICAL_LEAD, Role.PROVIDER])
def test_who_only_looks_and_who_comes_from_outside_holds_nothing(bench: Bench, role: Role) -> None:
    onlooker = a_person("Wim Ostrava-Keel", role, bench.alderwick)
    assert_refused(NotAllowed, lambda: held(bench, actor=onlooker))


def test_a_device_is_held_at_ones_own_site(bench: Bench) -> None:
    stranger = a_person("Per Aldous", Role.TECHNICIAN, bench.stennet)
    assert_refused(WrongSite, lambda: held(bench, actor=stranger))


def test_a_hold_is_of_a_device_and_a_day_that_are_there(bench: Bench) -> None:
    assert_refused(UnknownReference, lambda: held(bench, device=999_999), "device")
    assert_refused(NotYetInRecord, lambda: held(bench, JANUARY - ONE_DAY))
    assert_refused(InTheFuture, lambda: held(bench, AT.date() + ONE_DAY))
    held(bench, AT.date())
    assert len(in_force(bench, AT.date())) == 1


def test_today_is_the_day_at_the_site(bench: Bench) -> None:
    """23:30 in UTC on the last day of May is the first of June in London's summer."""
    held(bench, JUNE_1, at=dt.datetime(2026, 5, 31, 23, 30, tzinfo=dt.UTC))
    assert len(in_force(bench, JUNE_1)) == 1
    assert_refused(InTheFuture, lambda: held(bench, JUNE_1, at=dt.datetime(2026, 5, 31, 22, 30, tzinfo=dt.UTC)))


def test_a_finding_is_of_the_same_device(bench: Bench) -> None:
    other = a_device(bench.odile, bench.model, "OM-2", bench.theatre)
    elsewhere = a_finding(other, JUNE_1, "drive")
    assert_refused(FindingOfAnother, lambda: held(bench, finding=elsewhere))
    assert_refused(UnknownReference, lambda: held(bench, finding=999_999), "finding")


def test_a_hold_that_was_a_mistake_is_taken_back_with_its_reason(bench: Bench) -> None:
    receipt = held(bench)
    deed: dict[str, Any] = {"hold": details_of(receipt).hold_id, "at": AT}
    stranger = a_person("Per Aldous", Role.MANAGER, bench.stennet)
    assert_refused(NotAllowed, lambda: take_back_hold(reason="Not this one.", actor=bench.ruan, **deed))
    assert_refused(WrongSite, lambda: take_back_hold(reason="Not this one.", actor=stranger, **deed))
    assert_refused(ReasonMissing, lambda: take_back_hold(reason=" ", actor=bench.odile, **deed))
    take_back_hold(reason="Not this one.", actor=bench.odile, **deed)
    assert in_force(bench, JUNE_1) == []
    assert len(in_force(bench, JUNE_1, known=receipt.seq)) == 1
    assert_refused(AlreadyReplaced, lambda: take_back_hold(reason="Again.", actor=bench.odile, **deed))


def test_a_hold_that_an_inspection_opened_is_not_taken_back_past_the_release(bench: Bench) -> None:
    receipt = recorded(bench, moment(6, 1), ReadingLine(step="brakes", outcome=Outcome.FAILED))
    hold = details_of(receipt).hold_id
    assert_refused(
        OpenedByAnotherAct, lambda: take_back_hold(hold=hold, reason="x", actor=bench.odile, at=AT), "An inspection"
    )


def test_a_hold_that_a_release_lifted_stays(bench: Bench) -> None:
    hold = details_of(held(bench)).hold_id
    released(bench, JUNE_10, hold)
    assert_refused(AlreadyLifted, lambda: take_back_hold(hold=hold, reason="No.", actor=bench.odile, at=AT))


def test_an_administrator_takes_no_hold_back(bench: Bench) -> None:
    hold = details_of(held(bench)).hold_id
    administrator = a_person("Wim Ostrava-Keel", Role.ADMINISTRATOR, bench.alderwick)
    assert_refused(NotAllowed, lambda: take_back_hold(hold=hold, reason="No.", actor=administrator, at=AT))


def test_a_hold_that_is_sent_twice_is_placed_once(bench: Bench) -> None:
    request = Request.of("tablet-1", {"device": bench.device})
    first, again = (held(bench, request=request) for _ in range(2))
    assert (again.seq, again.repeated) == (first.seq, True)
    assert len(in_force(bench, JUNE_1)) == 1
