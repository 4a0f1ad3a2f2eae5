"""An entry about one device holds nothing of another: no thing, no fact about such a thing, no reference to one."""

from collections.abc import Callable
from typing import Any

import pytest

from pmcore.engines.records import SYSTEM
from pmcore.models import (
    Assignment,
    Attachment,
    Attempt,
    DoubtDecision,
    DueInspection,
    FaultReport,
    Finding,
    FindingDetails,
    Hold,
    HoldDetails,
    Inspection,
    InspectionSession,
    ItemDetails,
    PartInstall,
    PartItem,
    PartNeed,
    PartNeedDetails,
    PartPosition,
    PositionDetails,
    ReasonNotDone,
    Release,
    ReleasedHold,
    ReleaseStatement,
    Repair,
    RepairDetails,
    RepairedFinding,
    Succession,
    Withdrawal,
)
from pmcore.models.rows import Row
from pmcore.queries.verification import verify
from pmcore.services.append import Draft, append_many
from pmcore.services.refusals import AnotherSubject, NotOfThisEntry, UnknownReference
from tests.bench_cast import DUE, Bench, a_bench
from tests.cast import AT, a_device, check_refused
from tests.history import written

pytestmark = pytest.mark.django_db


class Case:
    """Two devices; `other` has one thing of each kind and a due inspection."""

    def __init__(self) -> None:
        self.bench: Bench = a_bench()
        self.device = self.bench.device
        self.person = self.bench.ruan.person
        self.other = a_device(self.bench.odile, self.bench.model, "OM-9", self.bench.theatre)
        self.due = self.opened("inspections_due", self.a_due(self.other))
        self.finding = self.opened("finding_made", Row(Finding, device=self.other))
        self.hold = self.opened("hold_placed", Row(Hold, device=self.other))
        self.inspection = self.opened("inspection_recorded", Row(Inspection, device=self.other))
        self.repair = self.opened("repair_done", Row(Repair, device=self.other))

    def opened(self, kind: str, row: Row) -> int:
        written(kind, row.values["device"], row)
        assert row.id is not None
        return row.id

    def a_due(self, device: int) -> Row:
        bench = self.bench
        return Row(
            DueInspection, device=device, plan=bench.plan, procedure=bench.procedure, due_on=DUE, opens_on=DUE,
            closes_on=DUE,
        )  # fmt: skip

    def hold_details(self, hold: Any, **values: Any) -> Row:
        return Row(HoldDetails, hold=hold, from_on=DUE, reason="finding", **values)

    def finding_details(self, finding: Any, **values: Any) -> Row:
        return Row(
            FindingDetails, finding=finding, from_on=DUE, discovered_on=DUE, discovery=_first("discovery"),
            subsystem=_first("subsystem"), mode="Bent.", cause=_first("cause"), failure=_first("failure"),
            severity=_first("severity"), **values,
        )  # fmt: skip

    def session(self, inspection: Any) -> Row:
        return Row(
            InspectionSession, inspection=inspection, kind="scheduled", version=self.bench.version,
            person=self.person, site=self.bench.alderwick, started_at=AT, ended_at=AT, performed_at=AT,
            performed_on=DUE,
        )  # fmt: skip

    def reason(self, due: int, hold: int | None = None) -> Row:
        return Row(ReasonNotDone, due_inspection=due, from_on=DUE, reason="no_usable_control", hold=hold)

    def statement(self, release: Row, **values: Any) -> Row:
        return Row(ReleaseStatement, release=release, signed_at=AT, signed_on=DUE, signed_by=self.person, **values)


def _first(column: str) -> str:
    vocabulary = FindingDetails._meta.get_field(column).vocabulary
    return str(next(iter(vocabulary)))


def _mine(model: Any) -> Callable[[Case], Row]:
    return lambda case: Row(model, device=case.device)


def _attempt(case: Case) -> list[Row]:
    return [Row(Attempt, due_inspection=case.due, tried_at=AT, tried_on=DUE, outcome="no_access", tried_by=case.person)]


def _released(case: Case) -> list[Row]:
    release = Row(Release, device=case.device)
    statement = case.statement(release)
    return [release, statement, Row(ReleasedHold, statement=statement, hold=case.hold)]


def _released_after(case: Case) -> list[Row]:
    release = Row(Release, device=case.device)
    return [release, case.statement(release, inspection=case.inspection)]


def _repaired(case: Case) -> list[Row]:
    repair = Row(Repair, device=case.device)
    details = Row(RepairDetails, repair=repair, started_at=AT, performed_on=DUE, account="Straightened.")
    return [repair, details, Row(RepairedFinding, details=details, finding=case.finding)]


def _wanted(case: Case) -> list[Row]:
    need = Row(PartNeed, device=case.device)
    return [need, Row(PartNeedDetails, need=need, from_on=DUE, state="wanted", finding=case.finding, quantity=1)]


def _found_again(case: Case) -> list[Row]:
    finding = Row(Finding, device=case.device)
    return [finding, case.finding_details(finding, same_root_as=case.finding)]


def _held_for(case: Case) -> list[Row]:
    hold = Row(Hold, device=case.device)
    return [hold, case.hold_details(hold, finding=case.finding)]


def _position(case: Case) -> int:
    position = Row(PartPosition, device_model=case.bench.model)
    details = Row(PositionDetails, position=position, from_on=DUE, label="Left", subsystem="drive", flex_point=False)
    return written("position_registered", position, position, details).subject


CASES: dict[str, tuple[str, Callable[[Case], list[Row]]]] = {
    "a due inspection": ("inspections_due", lambda c: [c.a_due(c.other)]),
    "a finding": ("finding_made", lambda c: [Row(Finding, device=c.other)]),
    "a hold": ("hold_placed", lambda c: [Row(Hold, device=c.other)]),
    "an inspection": ("inspection_recorded", lambda c: [Row(Inspection, device=c.other)]),
    "a fault report": ("fault_reported", lambda c: [Row(FaultReport, device=c.other)]),
    "a release": ("release_signed", lambda c: [Row(Release, device=c.other)]),
    "a part need": ("part_wanted", lambda c: [Row(PartNeed, device=c.other)]),
    "a withdrawal": (
        "due_withdrawn",
        lambda c: [Row(Withdrawal, due_inspection=c.due, from_on=DUE, withdrawn=True, reason="plan_ended")],
    ),
    "an attempt": ("attempt_made", _attempt),
    "a reason": ("reason_recorded", lambda c: [c.reason(c.due)]),
    "the hold of a reason": ("reason_recorded", lambda c: [c.reason(c.bench.due, hold=c.hold)]),
    "an assignment": (
        "inspection_assigned",
        lambda c: [Row(Assignment, due_inspection=c.due, person=c.person, from_on=DUE, assigned=True)],
    ),
    "a session": ("inspection_recorded", lambda c: [c.session(c.inspection)]),
    "a decision in doubt": (
        "doubt_decided",
        lambda c: [
            Row(DoubtDecision, inspection=c.inspection, instrument=c.bench.meter, from_on=DUE, accepted=True,
                decided_by=c.person, reason="Far from the limit.")
        ],
    ),
    "the details of a hold": ("hold_placed", lambda c: [c.hold_details(c.hold)]),
    "the finding of a hold": ("hold_placed", _held_for),
    "the root of a finding": ("finding_made", _found_again),
    "a released hold": ("release_signed", _released),
    "the inspection of a release": ("release_signed", _released_after),
    "a repaired finding": ("repair_done", _repaired),
    "the finding of a part need": ("part_wanted", _wanted),
    "the repair of a fitted part": (
        "part_fitted",
        lambda c: [
            Row(PartInstall, device=c.device, position=_position(c), from_on=DUE, item=None, repair=c.repair)
        ],
    ),
}  # fmt: skip


@pytest.mark.parametrize("case", CASES)
def test_nothing_of_another_device_is_written(case: str) -> None:
    there = Case()
    kind, rows = CASES[case]
    given = rows(there)
    with check_refused(AnotherSubject):
        written(kind, there.device, *given)


@pytest.mark.parametrize("case", CASES)
def test_the_same_about_its_own_device_is_written(case: str) -> None:
    there = Case()
    kind, rows = CASES[case]
    there.device, there.bench = there.other, _with_due(there)
    assert written(kind, there.other, *rows(there)).subject == there.other
    assert verify().sound


def _with_due(case: Case) -> Bench:
    return type(case.bench)(**{**vars(case.bench), "due": case.due})


def test_one_thing_is_not_of_two_entries_subjects() -> None:
    case = Case()
    drafts = [Draft("reason_recorded", device, [case.reason(case.due)]) for device in (case.other, case.device)]
    with check_refused(AnotherSubject):
        append_many(drafts, actor=SYSTEM, at=AT)


def test_what_nothing_belongs_to_is_unknown() -> None:
    case = Case()
    with check_refused(UnknownReference, "due_inspection"):
        written("reason_recorded", case.device, case.reason(987_654))


def test_what_is_said_of_a_part_goes_with_the_part() -> None:
    case = Case()
    item = Row(PartItem)
    written("part_registered", item, item)
    with check_refused(NotOfThisEntry):
        written("part_fitted", case.device, Row(ItemDetails, item=item.id, from_on=DUE, serial="B-1"))


def test_a_file_belongs_to_the_subject_and_the_subject_is_there() -> None:
    case = Case()

    def a_file(thing: int) -> Row:
        return Row(Attachment, thing=thing, sha256="0" * 64, size=1, media_type="image/png", name="a")

    with check_refused(AnotherSubject):
        written("file_attached", case.device, a_file(case.other))
    with check_refused(UnknownReference):
        written("file_attached", 987_654, a_file(987_654))


def test_a_successor_is_another_device() -> None:
    case = Case()
    row = Row(Succession, device=case.device, from_on=DUE, successor=case.other)
    assert written("device_succeeded", case.device, row).seq
