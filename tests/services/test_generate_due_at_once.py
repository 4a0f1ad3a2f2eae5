"""Two generations of one site at once write each due inspection once."""

from collections.abc import Iterator
from contextlib import contextmanager
from typing import Any

import pytest

from pmcore.models import DueInspection, Withdrawal
from pmcore.queries.head import head
from pmcore.queries.verification import verify
from pmcore.services import generate_due as service
from pmcore.services.append import append
from pmcore.services.generate_due import Generated, generate_due
from tests.cast import AT, SYSTEM, Hospital, a_device, a_hospital
from tests.history import day
from tests.services.test_append_concurrently import at_once
from tests.services.test_generate_due import a_plan, a_procedure, terms

AS_OF = day("2026-06-01")


def generated(hospital: Hospital) -> Generated:
    return generate_due(site=hospital.alderwick, as_of=AS_OF, at=AT)


def meanwhile(monkeypatch: pytest.MonkeyPatch, deed: Any) -> None:
    """The deed is done once, after the next generation has read and before it has the lock."""
    real = service.writing

    @contextmanager
    def writing() -> Iterator[None]:
        monkeypatch.setattr(service, "writing", real)
        deed()
        with real():
            yield

    monkeypatch.setattr(service, "writing", writing)


@pytest.mark.django_db
def test_what_another_run_wrote_meanwhile_is_not_written_again(monkeypatch: pytest.MonkeyPatch) -> None:
    hospital = a_hospital()
    a_plan(hospital, a_procedure())
    sizes = []
    meanwhile(monkeypatch, lambda: sizes.append((generated(hospital).added, head().size)))
    late = generated(hospital)
    assert (late.added, late.calls) == (0, [])
    assert sizes == [(2, head().size)]
    assert DueInspection.objects.count() == 2


@pytest.mark.django_db
def test_what_another_run_withdrew_meanwhile_is_not_withdrawn_again(monkeypatch: pytest.MonkeyPatch) -> None:
    hospital = a_hospital()
    procedure = a_procedure()
    plan = a_plan(hospital, procedure)
    generated(hospital)
    ended = terms(plan, hospital, procedure, from_on=AS_OF, ended=True)
    append("plan_changed", plan, [ended], actor=SYSTEM, at=AT)
    meanwhile(monkeypatch, lambda: generated(hospital))
    assert generated(hospital).withdrawn == 0
    assert Withdrawal.objects.count() == 1


@pytest.mark.django_db
def test_what_another_run_left_is_done(monkeypatch: pytest.MonkeyPatch) -> None:
    hospital = a_hospital()
    a_plan(hospital, a_procedure())
    earlier = day("2025-06-01")
    meanwhile(monkeypatch, lambda: generate_due(site=hospital.alderwick, as_of=earlier, at=AT))
    generated(hospital)
    assert sorted(DueInspection.objects.values_list("due_on", flat=True)) == [day("2026-06-15"), day("2027-06-15")]


@pytest.mark.django_db
def test_no_transaction_is_larger_than_the_limit(monkeypatch: pytest.MonkeyPatch) -> None:
    hospital = a_hospital()
    a_plan(hospital, a_procedure())
    for number in range(6):
        a_device(hospital.odile, hospital.model, f"N-{number}", hospital.theatre)
    monkeypatch.setattr(service, "ROWS_AT_ONCE", 8)  # two rows a device, and room for its two entries
    sizes: list[int] = []
    real = service.append_many

    def counted(drafts: Any, **options: Any) -> Any:
        sizes.append(sum(len(draft.rows) + 1 for draft in drafts))
        return real(drafts, **options)

    monkeypatch.setattr(service, "append_many", counted)
    assert generated(hospital).added == 14
    assert sizes == [6, 6, 6, 3]
    assert verify().sound


@pytest.mark.django_db(transaction=True)
def test_four_runs_at_once_write_each_once() -> None:
    hospital = a_hospital()
    a_plan(hospital, a_procedure())
    for number in range(10):
        a_device(hospital.odile, hospital.model, f"N-{number}", hospital.theatre)
    runs = at_once(4, lambda _: generated(hospital).added)
    assert sum(runs) == 22
    days = list(DueInspection.objects.values_list("device", "plan", "due_on"))
    assert (len(days), len(set(days))) == (22, 22)
    assert verify().sound
