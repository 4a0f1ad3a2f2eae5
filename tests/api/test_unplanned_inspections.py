"""Inspections that no plan calls for, by the interface."""

from typing import Any

import pytest

from pmcore.models import InspectionSession
from pmcore.queries.head import head
from tests.api.asking import PROBLEM, by_token
from tests.api.test_due_work import sent
from tests.bench_cast import Bench, a_bench
from tests.cast import AT
from tests.fault_cast import JUNE_1

pytestmark = pytest.mark.django_db


@pytest.fixture
def bench(monkeypatch) -> Bench:
    monkeypatch.setattr("pmcore.clock.now", lambda: AT)
    return a_bench()


def work(bench: Bench, **changed: Any) -> dict[str, Any]:
    readings = [
        {"step": "brakes", "outcome": "passed"},
        {"step": "raising", "outcome": "passed", "energy_source": "mains"},
        {"step": "leakage", "outcome": "passed", "as_found": "85", "unit": "µA", "instrument": bench.meter},
    ]
    asked = {
        "device": bench.device, "kind": "after_repair", "version": bench.version, "readings": readings,
        "started_at": "2026-06-01T09:00:00+01:00", "ended_at": "2026-06-01T09:30:00+01:00",
    }  # fmt: skip
    return {name: value for name, value in (asked | changed).items() if value is not None}


def test_it_is_recorded_for_a_device_and_read_again(bench):
    asker = by_token(bench.ruan)
    answer = sent(asker, "inspections/", work(bench))
    assert answer.status_code == 201
    session = InspectionSession.objects.get()
    assert (session.kind, session.performed_on, session.person_id) == ("after_repair", JUNE_1, bench.ruan.person)
    told = asker.get(answer["Location"].partition("/api/v1/")[2])
    assert told["inspection"]["kind"] == "after_repair"
    assert sent(asker, "inspections/", work(bench)).status_code == 200  # the same key


@pytest.mark.parametrize(
    ("changed", "named"),
    [
        ({"device": None}, "due_inspection"),
        ({"device": None, "kind": None}, "due_inspection"),
        ({"kind": None}, "kind"),
        ({"kind": "scheduled"}, "kind"),
        ({"kind": "yearly"}, "kind"),
        ({"due_inspection": 1}, "device"),
        ({"due_inspection": 1, "device": None}, "kind"),
        ({"re_anchor": True}, "re_anchor"),
    ],
)
def test_a_due_inspection_or_a_device_with_a_kind_is_wanted_and_not_both(bench, changed, named):
    size = head().size
    answer = sent(by_token(bench.ruan), "inspections/", work(bench, **changed))
    assert (answer.status_code, answer["Content-Type"]) == (400, PROBLEM)
    assert answer.json()["type"] == "urn:pmcore:problem:bad-parameters"
    assert named in answer.json()["errors"]
    assert head().size == size


def test_a_sheet_that_does_not_apply_is_refused_by_name(bench):
    answer = sent(by_token(bench.ruan), "inspections/", work(bench, version=10**9))
    assert answer.status_code == 422
    assert answer.json()["type"] == "urn:pmcore:problem:unknown-reference"
