"""What can change several times a day counts as it was recorded last; two people can be given one due inspection."""

from typing import Any

import pytest

from pmcore.models import (
    Assignment,
    PartInstall,
    PartItem,
    PartNeed,
    PartNeedDetails,
    PartPosition,
    Placement,
    ServiceState,
)
from pmcore.models.rows import Row
from pmcore.queries.head import head
from pmcore.queries.site_days import site_on
from pmcore.queries.verification import verify
from tests.bench_cast import DUE, Bench, a_bench
from tests.history import written

pytestmark = pytest.mark.django_db


@pytest.fixture
def bench() -> Bench:
    return a_bench()


def opened(kind: str, row: Row, subject: Any = None) -> int:
    written(kind, subject or row, row)
    assert row.id is not None
    return row.id


def values(model: Any, column: str, size: int | None = None) -> list[Any]:
    rows = model.objects.current() if size is None else model.objects.known(size)
    return list(rows.on(DUE).order_by("pk").values_list(column, flat=True))


def test_a_device_stands_where_it_was_moved_last(bench: Bench) -> None:
    for area in (bench.ward, bench.theatre, bench.ward):
        written("device_placed", bench.device, Row(Placement, device=bench.device, area=area, from_on=DUE))
    size = head().size
    assert [values(Placement, "area", known) for known in range(size - 2, size + 1)] == [
        [bench.ward], [bench.theatre], [bench.ward]
    ]  # fmt: skip
    assert site_on(bench.device, DUE, size) == bench.stennet
    assert site_on(bench.device, DUE, size - 1) == bench.alderwick


def test_a_device_is_missed_and_found_on_one_day(bench: Bench) -> None:
    for state in ("not_located", "in_service"):
        row = Row(ServiceState, device=bench.device, from_on=DUE, state=state)
        written("service_state_set", bench.device, row)
    assert values(ServiceState, "state") == ["in_service"]


def test_a_correction_of_the_last_lets_the_one_before_count(bench: Bench) -> None:
    for state in ("stored", "in_service"):
        row = Row(ServiceState, device=bench.device, from_on=DUE, state=state)
        written("service_state_set", bench.device, row)
    last = ServiceState.objects.current().on(DUE).get()
    written("service_state_set", bench.device, replaces=[last], note="It stayed in the store.")
    assert values(ServiceState, "state") == ["stored"]


def test_a_part_is_wanted_and_ordered_on_one_day(bench: Bench) -> None:
    need = opened("part_wanted", Row(PartNeed, device=bench.device), bench.device)
    states = list(PartNeedDetails._meta.get_field("state").vocabulary)[:3]  # type: ignore[union-attr]
    for state in states:
        row = Row(PartNeedDetails, need=need, from_on=DUE, state=state, quantity=1)
        written("part_wanted", bench.device, row)
    assert values(PartNeedDetails, "state") == [states[-1]]


def test_a_part_is_changed_twice_on_one_day(bench: Bench) -> None:
    position = opened("position_registered", Row(PartPosition, device_model=bench.model))
    items = [opened("part_registered", Row(PartItem)) for _ in range(2)]
    for item in items:
        row = Row(PartInstall, device=bench.device, position=position, from_on=DUE, item=item)
        written("part_fitted", bench.device, row)
    assert values(PartInstall, "item") == [items[-1]]


def test_two_people_are_given_one_due_inspection_and_one_is_taken_off(bench: Bench) -> None:
    def assign(person: int | None, *, assigned: bool) -> None:
        row = Row(Assignment, due_inspection=bench.due, person=person, from_on=DUE, assigned=assigned)
        written("inspection_assigned", bench.device, row)

    assign(bench.ruan.person, assigned=True)
    assign(bench.odile.person, assigned=True)
    on_the_day = Assignment.objects.current().on(DUE).filter(due_inspection=bench.due)
    assert set(on_the_day.filter(assigned=True).values_list("person", flat=True)) == {
        bench.ruan.person, bench.odile.person
    }  # fmt: skip
    assign(bench.ruan.person, assigned=False)
    assert list(on_the_day.filter(assigned=True).values_list("person", flat=True)) == [bench.odile.person]
    assert verify().sound
