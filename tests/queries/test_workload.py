"""Who can be given work, and how much each of them has."""

import pytest
from django.db import connection
from django.test.utils import CaptureQueriesContext

from pmcore.engines.vocabulary import Half
from pmcore.queries.asked import OutsideYourSites
from pmcore.queries.head import head
from pmcore.queries.own_work import own_work
from pmcore.queries.workload import HalfDay, PersonLoad, hands_at, workload
from pmcore.services.assignments import assign_inspections, take_off
from pmcore.services.keep_standings import keep_standings
from tests.due_work import AT, TODAY, DueWork, some_due_work
from tests.story import day, moment

pytestmark = pytest.mark.django_db

SUNDAY = day(6, 7)


def loads(work: DueWork, **options) -> dict[str, PersonLoad]:
    given = {"as_of": TODAY, "known": head().size, "actor": work.jorun}
    found = workload(options.pop("sites", None), TODAY, SUNDAY, **{**given, **options})
    return {load.name: load for load in found}


def give(work: DueWork, *numbers: int, to=None, on=TODAY, half=Half.AM) -> None:
    dues = [work.due(number) for number in numbers]
    person = (to or work.ruan).person
    assign_inspections(due_inspections=dues, person=person, on=on, half=half, actor=work.jorun, at=AT)


def test_technicians_and_providers_of_the_sites_are_named_and_nobody_else():
    work = some_due_work(1)
    everybody = ["Pavel Orrin-Dask", "Ruan Tesk", "Saskia Varnholt-Ede", "Tove Halvard-Quist"]
    assert list(loads(work)) == everybody
    first = frozenset({work.story.sites[0]})
    assert list(loads(work, sites=first)) == everybody[:3]
    named = hands_at(first, as_of=TODAY, known=head().size, actor=work.jorun)
    assert [name for _, name in named] == everybody[:3]


def test_each_half_day_has_its_inspections_and_minutes():
    work = some_due_work(4)
    give(work, 0, 1)
    give(work, 2, half=None)
    give(work, 3, on=SUNDAY, half=Half.PM)
    ruan = loads(work)["Ruan Tesk"]
    assert ruan.halves == (
        HalfDay(TODAY, None, 1, 40), HalfDay(TODAY, Half.AM, 2, 80), HalfDay(SUNDAY, Half.PM, 1, 40)
    )  # fmt: skip
    assert (ruan.on(TODAY), ruan.on(SUNDAY), ruan.on(day(6, 3)), ruan.inspections) == ((3, 120), (1, 40), (0, 0), 4)


def test_what_is_done_taken_off_or_of_another_week_weighs_nothing():
    work = some_due_work(3)
    give(work, 0, 1)
    give(work, 2, on=day(6, 8))
    take_off(due_inspections=[work.due(1)], actor=work.jorun, at=AT)
    assert loads(work)["Ruan Tesk"].inspections == 1
    work.story.inspect(TODAY)
    assert loads(work)["Ruan Tesk"].inspections == 0


def test_a_provider_sees_only_themselves_and_others_only_their_sites():
    work = some_due_work(1)
    assert list(loads(work, actor=work.pavel)) == ["Pavel Orrin-Dask"]
    assert list(loads(work, actor=work.tove)) == ["Tove Halvard-Quist"]
    with pytest.raises(OutsideYourSites):
        loads(work, actor=work.tove, sites=frozenset({work.story.sites[0]}))


def test_own_work_stands_by_day_and_what_is_open_beside_it():
    work = some_due_work(5)
    give(work, 2)
    give(work, 1, on=day(6, 4))
    give(work, 0, on=day(6, 30))
    found = own_work(as_of=TODAY, known=head().size, actor=work.ruan)
    stood = [[row.due_inspection for row in rows] for rows in (found.today, found.week, found.later)]
    assert stood == [[work.due(2)], [work.due(1)], [work.due(0)]]
    later = own_work(as_of=day(6, 20), known=head().size, actor=work.ruan)
    assert [row.due_inspection for row in later.today] == [work.due(2), work.due(1)]
    assert [row.due_inspection for row in later.others] == [work.due(3), work.due(4)]
    assert own_work(as_of=TODAY, known=head().size, actor=work.pavel).at_sites is None


@pytest.mark.parametrize("devices", [3, 60])
def test_the_number_of_statements_is_fixed(devices):
    work = some_due_work(devices)
    give(work, *range(3))
    keep_standings()
    with CaptureQueriesContext(connection) as captured:
        loads(work)
    assert len(captured) == 27


def test_a_week_is_told_as_it_was_known():
    work = some_due_work(1)
    give(work, 0)
    known = head().size
    assign_inspections(
        due_inspections=work.dues, person=work.saskia.person, on=TODAY, half=None, actor=work.jorun,
        at=moment(TODAY, 9),
    )  # fmt: skip
    assert loads(work, known=known)["Ruan Tesk"].inspections == 1
    assert loads(work)["Ruan Tesk"].inspections == 0
    assert loads(work)["Saskia Varnholt-Ede"].inspections == 1
