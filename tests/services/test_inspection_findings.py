"""What is found at an inspection is recorded in the same entry, and the hold of a failed step names it."""

import pytest

from pmcore.engines.vocabulary import Discovery, HoldReason, InspectionKind, Outcome, Role, Severity
from pmcore.models import FindingDetails
from pmcore.queries.verification import verify
from pmcore.services.bench import record_due_inspection
from pmcore.services.findings import KindContradicts
from pmcore.services.inspections import FindingOfNoStep
from pmcore.services.readings import ReadingLine
from pmcore.services.refusals import NotAllowed
from pmcore.services.requests import Receipt
from tests.bench_cast import BRAKES, RAISING, Bench, a_bench, assert_refused, inspection_of, moment, recorded
from tests.cast import a_person
from tests.fault_cast import JUNE_1, a_line, in_force, minor

pytestmark = pytest.mark.django_db

NO_BRAKES = ReadingLine(step="brakes", outcome=Outcome.FAILED)
OF_BRAKES = {"step": "brakes", "subsystem": "brakes_and_mobility"}


@pytest.fixture
def bench() -> Bench:
    return a_bench()


def views(receipt: Receipt) -> list[FindingDetails]:
    return list(FindingDetails.objects.filter(entry=receipt.seq).order_by("id"))


def holds(bench: Bench) -> list[tuple[str, int | None]]:
    return [(held.reason, held.finding) for held in in_force(bench)]


def test_a_finding_stands_in_the_entry_of_its_inspection(bench: Bench) -> None:
    receipt = recorded(bench, moment(6, 1), findings=[minor(step="brakes")])
    (view,) = views(receipt)
    assert (view.inspection_id, view.step) == (inspection_of(receipt), "brakes")
    assert (view.discovery, view.discovered_on) == (Discovery.INSPECTION, JUNE_1)
    assert holds(bench) == []
    assert verify().sound


def test_the_hold_of_a_failed_step_names_its_finding_the_grave_one_first(bench: Bench) -> None:
    lines = [minor(**OF_BRAKES), a_line(**OF_BRAKES)]
    receipt = recorded(bench, moment(6, 1), NO_BRAKES, RAISING, bench.leakage(), findings=lines)
    _, grave = views(receipt)
    assert holds(bench) == [(HoldReason.INSPECTION_FAILED, grave.finding_id)]


def test_what_else_could_harm_opens_its_own_hold(bench: Bench) -> None:
    lines = [a_line(**OF_BRAKES), a_line(severity=Severity.COULD_HARM), minor()]
    receipt = recorded(bench, moment(6, 1), NO_BRAKES, RAISING, bench.leakage(), findings=lines)
    of_brakes, other, _ = views(receipt)
    assert holds(bench) == [
        (HoldReason.INSPECTION_FAILED, of_brakes.finding_id),
        (HoldReason.FINDING, other.finding_id),
    ]


def test_where_every_step_passed_a_grave_finding_holds_the_device(bench: Bench) -> None:
    (view,) = views(recorded(bench, moment(6, 1), findings=[a_line()]))
    assert holds(bench) == [(HoldReason.FINDING, view.finding_id)]


@pytest.mark.parametrize(
    ("kind", "discovery"),
    [(InspectionKind.INCOMING, Discovery.INCOMING), (InspectionKind.AFTER_REPAIR, Discovery.REPAIR)],
)
def test_it_came_to_light_as_the_inspection_was(bench: Bench, kind: InspectionKind, discovery: Discovery) -> None:
    (view,) = views(recorded(bench, moment(6, 1), kind=kind, findings=[minor()]))
    assert view.discovery == discovery


def test_a_finding_names_a_step_of_this_session(bench: Bench) -> None:
    lines = [minor(step="leakage")]
    assert_refused(FindingOfNoStep, lambda: recorded(bench, moment(6, 1), BRAKES, findings=lines))
    wrong = [a_line(failure="cosmetic")]
    assert_refused(KindContradicts, lambda: recorded(bench, moment(6, 1), findings=wrong))


def test_at_the_bench_too(bench: Bench) -> None:
    receipt = record_due_inspection(
        due_inspection=bench.due, version=bench.version, started_at=moment(6, 1), ended_at=moment(6, 1, 10),
        readings=bench.whole_sheet, findings=[minor()], actor=bench.ruan, at=moment(6, 1, 10),
    )  # fmt: skip
    assert len(views(receipt)) == 1


def test_who_makes_no_findings_makes_none_at_an_inspection_either(bench: Bench) -> None:
    scheduler = a_person("Ines Caddock", Role.SCHEDULER, bench.alderwick)
    assert_refused(NotAllowed, lambda: recorded(bench, moment(6, 1), actor=scheduler, findings=[minor()]))
    assert views(recorded(bench, moment(6, 1), actor=scheduler)) == []
