"""Two people at one device: what one of them recorded, the other one is told."""

from collections import Counter

import pytest

from pmcore.engines.vocabulary import InspectionKind
from pmcore.models import Inspection, InspectionSession
from pmcore.queries.head import head
from pmcore.queries.inspections import completed
from pmcore.queries.verification import verify
from pmcore.services.inspections import AlreadyComplete, AlreadyRecorded
from pmcore.services.requests import Request
from tests.bench_cast import BRAKES, RAISING, a_bench, inspection_of, moment, recorded
from tests.services.test_append_concurrently import at_once

pytestmark = pytest.mark.django_db(transaction=True)


def test_of_six_who_record_the_same_inspection_one_is_heard() -> None:
    bench = a_bench()
    size = head().size
    results = at_once(6, lambda number: recorded(bench, moment(6, 15, 9, number)))
    assert Counter(type(result).__name__ for result in results) == {"Receipt": 1, AlreadyRecorded.__name__: 5}
    assert head().size == size + 1
    assert Inspection.objects.count() == 1
    assert verify().sound


def test_of_two_who_finish_an_inspection_one_does() -> None:
    bench = a_bench()
    first = recorded(bench, moment(6, 15), BRAKES)
    rest = [RAISING, bench.leakage()]
    results = at_once(2, lambda number: recorded(bench, moment(6, 16 + number), *rest, inspection=inspection_of(first)))
    assert Counter(type(result).__name__ for result in results) == {"Receipt": 1, AlreadyComplete.__name__: 1}
    assert len(completed([bench.device], head().size)) == 1


def test_what_one_tablet_sends_many_times_is_written_once_and_answered_each_time() -> None:
    bench = a_bench()
    request = Request.of("tablet-1", {"device": bench.device})
    results = at_once(6, lambda _: recorded(bench, moment(6, 15), request=request))
    assert len({result.seq for result in results}) == 1
    assert sorted(result.repeated for result in results) == [False] + [True] * 5
    assert InspectionSession.objects.count() == 1


def test_different_inspections_of_one_day_do_not_stand_in_each_others_way() -> None:
    bench = a_bench()
    kinds = list(InspectionKind)
    results = at_once(len(kinds), lambda number: recorded(bench, moment(6, 15), kind=kinds[number]))
    assert {type(result).__name__ for result in results} == {"Receipt"}
    assert len(completed(None, head().size)) == len(kinds)
