"""What is due, as a scheduler and a technician read it."""

import dataclasses
import datetime as dt

import pytest
from django.db import connection
from django.test.utils import CaptureQueriesContext

from pmcore.engines.vocabulary import AttemptOutcome, DueState, Half, ReasonCode, RiskClass
from pmcore.queries.asked import BadPeriod, KnownBeyond, OutsideYourSites
from pmcore.queries.due_list import BadAssignee, DueFilter, DuePage, due_items, due_page
from pmcore.queries.head import head
from pmcore.services.assignments import assign_inspections, take_off
from pmcore.services.keep_standings import keep_standings
from pmcore.services.reasons import record_reason
from tests.due_work import AT, TODAY, DueWork, some_due_work
from tests.story import day, moment

pytestmark = pytest.mark.django_db

STATEMENTS = 33
SUMMER = DueFilter(closes_to=day(8, 1))


def page(work: DueWork, asked: DueFilter = SUMMER, **options) -> DuePage:
    given = {"as_of": TODAY, "known": head().size, "actor": work.story.manager}
    return due_page(asked, **{**given, **options})


def give(work: DueWork, *dues: int, to=None, on: dt.date = TODAY, half: Half | None = Half.AM) -> None:
    person = (to or work.ruan).person
    assign_inspections(due_inspections=dues, person=person, on=on, half=half, actor=work.jorun, at=AT)


def test_a_row_says_which_device_where_when_and_who():
    work = some_due_work(2)
    give(work, work.due(1))
    row = next(each for each in page(work).rows if each.due_inspection == work.due(1))
    assert (row.device.tag, row.device.serial, row.device.maker, row.device.model) == (
        "T-0001",
        "N-1",
        "Orvane",
        "Marl",
    )
    assert (row.device_class_name, row.site_name, row.area_name) == ("Surgical table", "Alderwick General", "Theatre 1")
    assert (row.plan_name, row.procedure_name) == ("Tables, yearly", "Yearly check")
    assert (row.opens_on, row.due_on, row.closes_on) == (day(5, 16), day(6, 15), day(7, 15))
    assert (row.state, row.completed_on) == (DueState.OPEN, None)
    assert [(each.name, each.on, each.half) for each in row.assigned] == [("Ruan Tesk", TODAY, Half.AM)]


@pytest.mark.parametrize(("as_of", "state"), [(day(5, 2), "ahead"), (day(6, 1), "open"), (day(7, 16), "overdue")])
def test_the_state_is_that_of_the_day_asked_for(as_of, state):
    work = some_due_work(1)
    assert [row.state for row in page(work, as_of=as_of).rows] == [state]


def test_what_is_overdue_stands_before_what_still_closes():
    work = some_due_work(1)
    rows = page(work, DueFilter(), as_of=day(7, 20)).rows
    assert [(row.state, row.due_on) for row in rows] == [("overdue", day(6, 15)), ("ahead", day(6, 15, 2027))]


def test_what_is_done_is_listed_only_when_asked_for():
    work = some_due_work(2)
    work.story.inspect(day(5, 30))
    done = DueFilter(states=frozenset({DueState.MET}), closes_from=day(6, 1), closes_to=day(8, 1))
    assert [row.due_inspection for row in page(work).rows] == [work.due(1)]
    assert [(row.due_inspection, row.completed_on) for row in page(work, done).rows] == [(work.due(0), day(5, 30))]


@pytest.mark.parametrize(
    ("field", "right", "wrong"),
    [
        ("sites", lambda work: work.story.sites[0], lambda work: work.story.sites[1]),
        ("areas", lambda work: work.story.areas[0], lambda work: work.story.areas[1]),
        ("device_classes", lambda work: work.story.table, lambda work: work.story.table + 1),
        ("risk_classes", lambda work: RiskClass.OTHER, lambda work: RiskClass.HIGH_RISK),
    ],
)
def test_each_filter_keeps_its_own_and_leaves_out_the_rest(field, right, wrong):
    work = some_due_work(2)
    assert page(work, dataclasses.replace(SUMMER, **{field: frozenset({right(work)})})).total == 2
    assert page(work, dataclasses.replace(SUMMER, **{field: frozenset({wrong(work)})})).total == 0


def test_words_find_a_device_by_a_part_of_its_tag_or_serial_number():
    work = some_due_work(4)
    assert [row.device.tag for row in page(work, dataclasses.replace(SUMMER, words="t-0002")).rows] == ["T-0002"]
    assert [row.device.serial for row in page(work, dataclasses.replace(SUMMER, words="om-")).rows] == ["OM-1"]
    assert page(work, dataclasses.replace(SUMMER, words="nothing")).rows == ()


def test_people_narrow_the_list_and_leave_its_counts():
    work = some_due_work(3)
    give(work, work.due(0))
    nobodys = page(work, dataclasses.replace(SUMMER, unassigned=True))
    assert {row.due_inspection for row in nobodys.rows} == {work.due(1), work.due(2)}
    assert (nobodys.total, nobodys.all_of_them, nobodys.given_to_nobody, nobodys.grave_to_nobody) == (2, 3, 2, 0)
    ruans = page(work, dataclasses.replace(SUMMER, assigned_to=work.ruan.person))
    assert [row.due_inspection for row in ruans.rows] == [work.due(0)]


def test_what_was_taken_off_is_nobodys_and_was_somebodys_as_known_before():
    work = some_due_work(1)
    give(work, work.due())
    before = head().size
    take_off(due_inspections=[work.due()], actor=work.jorun, at=AT)
    assert page(work).rows[0].assigned == ()
    assert [each.person for each in page(work, known=before).rows[0].assigned] == [work.ruan.person]


def test_a_row_says_what_stood_in_the_way():
    work = some_due_work(2)
    for on in (day(6, 1), day(6, 3)):
        work.story.search(on, outcome=AttemptOutcome.WITH_A_PATIENT)
    due = work.due()
    by = {"actor": work.story.manager, "at": moment(day(6, 3), 19)}
    record_reason(due_inspection=due, reason=ReasonCode.WITH_A_PATIENT, from_on=day(6, 3), note=None, **by)

    def said(as_of: dt.date) -> tuple:
        row = next(each for each in page(work, as_of=as_of).rows if each.due_inspection == due)
        return row.attempts, row.tried_on, row.tried_outcome, row.reason, row.reason_on

    assert said(day(6, 4)) == (2, day(6, 3), AttemptOutcome.WITH_A_PATIENT, ReasonCode.WITH_A_PATIENT, day(6, 3))
    assert said(day(6, 2)) == (1, day(6, 1), AttemptOutcome.WITH_A_PATIENT, None, None)
    other = next(each for each in page(work).rows if each.due_inspection != due)
    assert (other.attempts, other.tried_on, other.reason) == (0, None, None)


@pytest.mark.parametrize(
    ("days", "total"),
    [
        ({"opens_from": day(5, 16)}, 2), ({"opens_from": day(5, 17)}, 0), ({"opens_to": day(5, 16)}, 2),
        ({"opens_to": day(5, 15)}, 0), ({"opens_from": day(5, 1), "opens_to": day(5, 31)}, 2),
    ],
)  # fmt: skip
def test_the_opening_day_narrows_the_list(days, total):
    assert page(some_due_work(2), dataclasses.replace(SUMMER, **days)).total == total


def test_pages_follow_one_another_without_gap_or_overlap():
    work = some_due_work(5)
    seen, after = [], None
    while True:
        found = page(work, after=after, limit=2)
        seen += [(row.closes_on, row.due_inspection) for row in found.rows]
        if (after := found.next_after) is None:
            break
    assert len(seen) == 5
    assert seen == sorted(set(seen))


def test_a_member_of_one_site_sees_nothing_of_another():
    work = some_due_work(2)
    assert page(work, actor=work.tove).rows == ()
    assert due_items(work.dues, as_of=TODAY, known=head().size, actor=work.tove) == []
    with pytest.raises(OutsideYourSites):
        page(work, dataclasses.replace(SUMMER, sites=frozenset({work.story.sites[0]})), actor=work.tove)


def test_a_provider_sees_what_they_were_given():
    work = some_due_work(3)
    give(work, work.due(1), to=work.pavel)
    assert [row.due_inspection for row in page(work, actor=work.pavel).rows] == [work.due(1)]
    seen = due_items(work.dues, as_of=TODAY, known=head().size, actor=work.pavel)
    assert [row.due_inspection for row in seen] == [work.due(1)]
    with pytest.raises(OutsideYourSites):
        page(work, dataclasses.replace(SUMMER, assigned_to=work.ruan.person), actor=work.pavel)


def test_what_cannot_be_asked_is_refused():
    with pytest.raises(BadPeriod):
        DueFilter(closes_from=day(6, 2), closes_to=day(6, 1))
    with pytest.raises(BadPeriod):
        DueFilter(opens_from=day(6, 2), opens_to=day(6, 1))
    with pytest.raises(BadAssignee):
        DueFilter(assigned_to=1, unassigned=True)
    with pytest.raises(KnownBeyond):
        page(some_due_work(1), known=10**9)


def statements(work: DueWork, asked: DueFilter) -> int:
    with CaptureQueriesContext(connection) as captured:
        due_page(asked, as_of=TODAY, known=head().size, actor=work.story.manager)
    return len(captured)


@pytest.mark.parametrize("devices", [3, 60])
def test_the_number_of_statements_hangs_on_neither_devices_nor_narrowing(devices):
    work = some_due_work(devices)
    give(work, *work.dues[:2])
    keep_standings()
    narrowed = DueFilter(
        closes_to=day(8, 1), sites=frozenset({work.story.sites[0]}), risk_classes=frozenset({RiskClass.OTHER}),
        unassigned=True,
    )  # fmt: skip
    assert statements(work, SUMMER) == STATEMENTS
    assert statements(work, narrowed) == STATEMENTS - 1  # nobody is named
    assert statements(work, dataclasses.replace(SUMMER, words="N-")) == STATEMENTS + 1
    assert statements(work, dataclasses.replace(SUMMER, assigned_to=work.ruan.person)) == STATEMENTS + 1


def test_kept_standings_change_no_row():
    work = some_due_work(4)
    work.story.inspect(day(5, 30))
    computed = page(work)
    keep_standings()
    assert page(work, known=computed.known) == computed
    give(work, work.due(1))
    known = head().size
    assert page(work, known=known).rows[0].state == DueState.OPEN
    work.story.device = work.devices[1]
    work.story.inspect(day(5, 30))
    assert page(work, known=known).all_of_them == 3
    assert page(work).all_of_them == 2
