"""A part is written in one entry with its fact: what was approved or done grows no further lines."""

import datetime as dt
from typing import Any

import pytest

from pmcore.models import InspectionSession, ProcedureSheet, Reading, Step
from pmcore.models.rows import Row
from pmcore.queries.verification import verify
from pmcore.services.refusals import NotOfThisEntry
from tests.bench_cast import Bench, a_bench, recorded
from tests.cast import check_refused
from tests.history import written

pytestmark = pytest.mark.django_db


@pytest.fixture
def bench() -> Bench:
    return a_bench()


def a_step(sheet: Any) -> Row:
    return Row(
        Step, sheet=sheet, number=9, key="extra", kind="look", prompt="Is it clean?", mandatory=False,
        not_applicable_allowed=True,
    )  # fmt: skip


def test_an_approved_sheet_takes_no_further_step(bench: Bench) -> None:
    sheet = ProcedureSheet.objects.get(version=bench.version)
    with check_refused(NotOfThisEntry, "sheet"):
        written("version_written", bench.version, a_step(sheet.pk))


def test_a_session_that_is_over_takes_no_further_reading(bench: Bench) -> None:
    recorded(bench, dt.datetime(2026, 6, 15, 9, tzinfo=dt.UTC))
    session = InspectionSession.objects.get()
    with check_refused(NotOfThisEntry, "session"):
        written("inspection_recorded", bench.device, Row(Reading, session=session.pk, step="b", outcome="passed"))


def test_a_sheet_written_again_takes_its_steps_with_it(bench: Bench) -> None:
    wrong = ProcedureSheet.objects.get(version=bench.version)
    right = Row(ProcedureSheet, version=bench.version, title="Again", minutes=5, people=1)
    written("version_written", bench.version, right, a_step(right), replaces=[wrong], note="A slip.")
    assert Step.objects.current().get(sheet__version=bench.version).key == "extra"
    assert verify().sound
