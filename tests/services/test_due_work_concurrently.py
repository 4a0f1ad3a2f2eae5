"""Two schedulers over one list, two people and one tablet at one device: what one did, the other is told."""

from collections import Counter

import pytest

from pmcore.engines.vocabulary import Basis, Half, Outcome
from pmcore.models import Assignment, DueInspection, InspectionSession
from pmcore.queries.due_list import due_items
from pmcore.queries.head import head
from pmcore.queries.verification import verify
from pmcore.services.assignments import ChangedMeanwhile, assign_inspections
from pmcore.services.bench import InspectedAlready, record_due_inspection
from pmcore.services.readings import ReadingLine
from pmcore.services.requests import Request
from tests.due_work import AT, TODAY, DueWork, some_due_work
from tests.services.test_append_concurrently import at_once
from tests.story import STEPS, a_story, day, moment

pytestmark = pytest.mark.django_db(transaction=True)


def given_by(work: DueWork, person: int, **options):
    return assign_inspections(
        due_inspections=work.dues, person=person, on=TODAY, half=Half.AM, actor=work.jorun, at=AT, **options
    )


def test_of_schedulers_who_give_out_what_all_saw_free_one_is_heard():
    work = some_due_work(2)
    seen = head().size
    people = [work.ruan.person, work.saskia.person, work.pavel.person]
    results = at_once(3, lambda number: given_by(work, people[number], seen=seen))
    assert Counter(type(result).__name__ for result in results) == {"AssignmentMade": 1, ChangedMeanwhile.__name__: 2}
    held = {
        each.person
        for item in due_items(work.dues, as_of=TODAY, known=head().size, actor=work.jorun)
        for each in item.assigned
    }
    assert len(held) == 1
    assert verify().sound


def test_one_form_sent_many_times_gives_out_once():
    work = some_due_work(2)
    request = Request.of("form-1", {"due": work.dues})
    results = at_once(4, lambda _: given_by(work, work.ruan.person, request=request))
    assert len({result.receipts[0].seq for result in results}) == 1
    assert Assignment.objects.count() == 2


def test_of_people_who_record_one_due_inspection_one_is_heard_and_one_next_day_named():
    story = a_story(Basis.FLOATING)
    due = story.due().pk
    before = DueInspection.objects.filter(device=story.device).count()

    def record(number: int):
        readings = [ReadingLine(step=step, outcome=Outcome.PASSED) for step in STEPS]
        return record_due_inspection(
            due_inspection=due, version=story.version, started_at=moment(TODAY, 7, number),
            ended_at=moment(TODAY, 8, number), readings=readings, actor=story.manager, at=moment(TODAY, 10),
        )  # fmt: skip

    results = at_once(4, record)
    assert Counter(type(result).__name__ for result in results) == {"Receipt": 1, InspectedAlready.__name__: 3}
    assert InspectionSession.objects.filter(performed_on=TODAY).count() == 1
    assert DueInspection.objects.filter(device=story.device).count() == before + 1
    assert DueInspection.objects.filter(device=story.device, due_on=day(6, 1, 2027)).count() == 1
    assert verify().sound
