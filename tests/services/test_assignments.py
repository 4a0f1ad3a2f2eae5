"""Inspections are given to people and taken off them, several at once, or not at all."""

import datetime as dt
from typing import Any

import pytest

from pmcore.engines.records import SYSTEM
from pmcore.engines.vocabulary import Departure, Half, Role, WithdrawalReason
from pmcore.models import Assignment, Entry, Withdrawal
from pmcore.models.rows import Row
from pmcore.queries.changed_devices import changed_since_kept
from pmcore.queries.columns import BadValue
from pmcore.queries.due_list import due_items
from pmcore.queries.head import head
from pmcore.services.append import append
from pmcore.services.assignments import (
    MOST_AT_ONCE,
    AssignmentMade,
    CautionCode,
    ChangedMeanwhile,
    DayIsOver,
    NotForThisPerson,
    NotToBeDone,
    assign_inspections,
    take_off,
)
from pmcore.services.departures import leave_inventory
from pmcore.services.keep_standings import keep_standings
from pmcore.services.people import give_role
from pmcore.services.refusals import NotAllowed, RequestReused, TooMuchAtOnce, UnknownReference, WrongSite
from pmcore.services.requests import Request
from tests.cast import check_refused
from tests.due_work import AT, TODAY, DueWork, some_due_work
from tests.story import day, moment

pytestmark = pytest.mark.django_db

TUESDAY = day(6, 2)


def give(work: DueWork, **changed: Any) -> AssignmentMade:
    asked = {
        "due_inspections": work.dues, "person": work.ruan.person, "on": TUESDAY, "half": Half.AM, "actor": work.jorun,
        "at": AT,
    }  # fmt: skip
    return assign_inspections(**{**asked, **changed})


def held(work: DueWork, number: int = 0) -> list[tuple[int, dt.date | None, Half | None]]:
    items = due_items([work.due(number)], as_of=TODAY, known=head().size, actor=work.story.manager)
    return [(each.person, each.on, each.half) for each in items[0].assigned]


def test_a_selection_is_given_at_once_with_one_entry_for_each_device():
    work = some_due_work(3)
    made = give(work)
    assert made.cautions == ()
    entries = Entry.objects.filter(seq__in=[receipt.seq for receipt in made.receipts])
    assert sorted(entries.values_list("subject", flat=True)) == sorted(work.devices)
    assert set(entries.values_list("kind", flat=True)) == {"inspection_assigned"}
    assert entries.filter(edge__isnull=False).count() == 1  # one transaction
    assert all(held(work, number) == [(work.ruan.person, TUESDAY, Half.AM)] for number in range(3))


def test_who_gets_it_takes_it_over():
    work = some_due_work(1)
    give(work)
    give(work, person=work.saskia.person, half=None)
    assert held(work) == [(work.saskia.person, TUESDAY, None)]


def test_work_for_two_is_given_beside_the_first():
    work = some_due_work(1)
    give(work)
    give(work, person=work.saskia.person, beside=True)
    assert {person for person, *_ in held(work)} == {work.ruan.person, work.saskia.person}


def test_another_day_for_the_same_person_moves_it():
    work = some_due_work(1)
    give(work)
    give(work, on=day(6, 3), half=Half.PM)
    assert held(work) == [(work.ruan.person, day(6, 3), Half.PM)]


def test_what_stands_already_is_not_written_again():
    work = some_due_work(2)
    give(work, due_inspections=[work.due(0)])
    size = head().size
    assert len(give(work).receipts) == 1
    assert head().size == size + 1
    assert give(work).receipts == ()


def test_taking_off_leaves_it_to_nobody_or_to_the_other_one():
    work = some_due_work(1)
    give(work)
    give(work, person=work.saskia.person, beside=True)
    take_off(due_inspections=work.dues, person=work.ruan.person, actor=work.jorun, at=AT)
    assert [person for person, *_ in held(work)] == [work.saskia.person]
    take_off(due_inspections=work.dues, actor=work.jorun, at=AT)
    assert held(work) == []


@pytest.mark.parametrize("role", [Role.TECHNICIAN, Role.AUDITOR, Role.PROVIDER, Role.ADMINISTRATOR])
def test_only_schedulers_and_managers_give_out(role):
    work = some_due_work(1)
    actor = type(work.jorun)(work.jorun.person, role, work.jorun.sites)
    with check_refused(NotAllowed, "may not give out"):
        give(work, actor=actor)
    with check_refused(NotAllowed, "may not give out"):
        take_off(due_inspections=work.dues, actor=actor, at=AT)


def test_done_work_is_not_given_out():
    work = some_due_work(2)
    work.story.inspect(day(5, 30))
    with check_refused(NotToBeDone, "is met"):
        give(work)
    assert Assignment.objects.count() == 0


def test_withdrawn_work_is_not_given_out():
    work = some_due_work(1)
    row = Row(
        Withdrawal, due_inspection=work.due(), from_on=TODAY, withdrawn=True, reason=WithdrawalReason.RECORDED_WRONGLY
    )
    append("due_withdrawn", work.devices[0], [row], actor=work.story.manager, at=AT)
    with check_refused(NotToBeDone, "is withdrawn"):
        give(work)


def test_work_on_a_device_that_has_left_is_not_given_out():
    work = some_due_work(1)
    leave_inventory(device=work.devices[0], departure=Departure.SOLD, from_on=TODAY, actor=work.story.manager, at=AT)
    with check_refused(NotToBeDone, "is ended"):
        give(work)


def test_nobody_without_the_trade_gets_any():
    work = some_due_work(1)
    with check_refused(NotForThisPerson, "neither technician nor provider"):
        give(work, person=work.jorun.person)
    with check_refused(NotForThisPerson, "neither technician nor provider"):
        give(work, person=10**9)


def test_nobody_of_another_site_gets_any():
    work = some_due_work(1)
    with check_refused(NotForThisPerson, "Tove Halvard-Quist does not work at Alderwick General"):
        give(work, person=work.tove.person)


def test_the_role_counts_on_the_day_of_the_work():
    work = some_due_work(1)
    assert work.ruan.person is not None
    give_role(person=work.ruan.person, role=None, from_on=TUESDAY, actor=SYSTEM, at=AT)
    give(work, on=TODAY)
    with check_refused(NotForThisPerson):
        give(work, on=TUESDAY)


def test_a_day_that_is_over_is_refused_and_today_is_not():
    work = some_due_work(1)
    with check_refused(DayIsOver, "2026-05-31 is over"):
        give(work, on=day(5, 31))
    give(work, on=TODAY)
    assert held(work) == [(work.ruan.person, TODAY, Half.AM)]


def test_another_sites_work_is_refused():
    work = some_due_work(1)
    elsewhere = type(work.jorun)(work.jorun.person, Role.SCHEDULER, frozenset({work.story.sites[1]}))
    with check_refused(WrongSite):
        give(work, actor=elsewhere)


def test_what_does_not_exist_is_refused_and_so_is_nothing():
    work = some_due_work(1)
    with check_refused(UnknownReference):
        give(work, due_inspections=[*work.dues, 10**9])
    with check_refused(BadValue):
        give(work, due_inspections=[])


def test_more_than_a_transaction_holds_is_refused():
    work = some_due_work(1)
    with check_refused(TooMuchAtOnce):
        give(work, due_inspections=list(range(10**6, 10**6 + MOST_AT_ONCE + 1)))


@pytest.mark.parametrize(
    ("on", "codes"),
    [
        (day(7, 16), [CautionCode.AFTER_CLOSE]),
        (day(6, 6), [CautionCode.NO_WORKING_DAY]),  # a Saturday
        (day(7, 18), [CautionCode.AFTER_CLOSE, CautionCode.NO_WORKING_DAY]),
        (TUESDAY, []),
    ],
)
def test_a_late_or_free_day_is_given_with_a_caution(on, codes):
    work = some_due_work(1)
    assert [caution.code for caution in give(work, on=on).cautions] == codes
    assert held(work)


def test_of_what_is_overdue_already_no_day_is_called_late():
    work = some_due_work(1)
    on = day(7, 20)
    assert give(work, on=on, at=moment(on, 8)).cautions == ()


def test_a_day_before_the_window_opens_is_given_with_a_caution():
    work = some_due_work(1)
    made = give(work, on=day(5, 5), at=moment(day(5, 4), 8))
    assert [(caution.code, caution.day) for caution in made.cautions] == [(CautionCode.BEFORE_OPENING, day(5, 16))]


def test_a_double_submit_gives_out_once():
    work = some_due_work(2)
    request = Request.of("key-1", {"person": 1})
    first = give(work, request=request)
    size = head().size
    again = give(work, request=request)
    assert (again.receipts[0].seq, again.receipts[0].repeated) == (first.receipts[0].seq, True)
    assert head().size == size
    with check_refused(RequestReused):
        give(work, request=Request.of("key-1", {"person": 2}))


def test_of_two_schedulers_the_second_is_told_what_the_first_one_did():
    work = some_due_work(2)
    seen = head().size
    give(work, due_inspections=[work.due(1)], seen=seen)
    with check_refused(ChangedMeanwhile, "given to Ruan Tesk now"):
        give(work, person=work.saskia.person, seen=seen)
    give(work, person=work.saskia.person, due_inspections=[work.due(0)], seen=seen)
    assert [person for person, *_ in held(work, 0)] == [work.saskia.person]


def test_giving_out_makes_no_standing_be_computed_anew():
    work = some_due_work(2)
    keep_standings()
    give(work)
    assert changed_since_kept(head().size) == set()
