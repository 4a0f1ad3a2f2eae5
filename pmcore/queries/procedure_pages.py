"""Procedures as a list, and one with its versions and their steps. They belong to no site."""

import datetime as dt
from collections import defaultdict
from collections.abc import Collection
from dataclasses import dataclass, fields
from typing import Any

from pmcore.engines.vocabulary import EnergySource, StepKind, Subsystem
from pmcore.models import (
    Caution,
    CoveredProcedure,
    ProcedureDetails,
    ProcedureSheet,
    ProcedureVersion,
    Step,
    VersionApproval,
)
from pmcore.queries.pages import Page


@dataclass(frozen=True, slots=True)
class ProcedureRecord:
    """`version_in_use`: the newest number that is approved on the day; null: none is."""

    procedure: int
    name: str
    withdrawn: bool
    version_in_use: int | None


@dataclass(frozen=True, slots=True)
class StepRecord:
    """One line of a sheet; which values are filled depends on its kind. Limits are text, digits kept."""

    number: int
    key: str
    kind: StepKind
    prompt: str
    mandatory: bool
    not_applicable_allowed: bool
    subsystem: Subsystem | None
    energy_source: EnergySource | None
    minutes: int | None
    unit: str | None
    low: str | None
    low_included: bool | None
    high: str | None
    high_included: bool | None
    limit: int | None
    expected_count: int | None
    as_left_wanted: bool | None
    instrument_wanted: bool | None


@dataclass(frozen=True, slots=True)
class VersionRecord:
    """`approved_from_on`: the day from which it may be used, on whose word; null: it may not on the day asked for.
    `covers`: the procedures that this version, done, also does."""

    version: int
    number: int
    title: str
    minutes: int
    people: int
    source: str | None
    approved_from_on: dt.date | None
    approved_by: int | None
    covers: tuple[int, ...]
    cautions: tuple[str, ...]
    steps: tuple[StepRecord, ...]


@dataclass(frozen=True, slots=True)
class ProcedureInFull:
    procedure: int
    name: str
    withdrawn: bool
    versions: tuple[VersionRecord, ...]


def procedures_page(*, as_of: dt.date, known: int, after: int | None = None, limit: int) -> Page[ProcedureRecord]:
    """As they are described on the day, withdrawn ones too: two statements."""
    rows: Any = ProcedureDetails.objects.known(known).on(as_of).filter(procedure__gt=after or 0)
    columns = ("procedure_id", "name", "withdrawn")
    chosen: list[Any] = list(rows.order_by("procedure").values_list(*columns)[: limit + 1])
    approved = VersionApproval.objects.known(known).on(as_of).filter(approved=True)
    approved = approved.filter(version__procedure__among=[row[0] for row in chosen]).order_by("version__number")
    in_use = dict(approved.values_list("version__procedure_id", "version__number"))
    found = [ProcedureRecord(number, name, gone, in_use.get(number)) for number, name, gone in chosen]
    return Page.of(found, limit, lambda each: each.procedure)


def one_procedure(procedure: int, *, as_of: dt.date, known: int) -> ProcedureInFull | None:
    """With all versions that are known, in order of numbers: seven statements. None: there is no such procedure."""
    described = ProcedureDetails.objects.known(known).on(as_of).filter(procedure=procedure)
    said = described.values_list("name", "withdrawn").first()
    if said is None:
        return None
    numbers = ProcedureVersion.objects.known(known).filter(procedure=procedure).order_by("number")
    versions = dict(numbers.values_list("id", "number"))
    parts = _Parts(versions, as_of, known)
    return ProcedureInFull(procedure, *said, tuple(found for version in versions if (found := parts.record(version))))


_STEP_COLUMNS = [f"{each.name}_id" if each.name == "limit" else each.name for each in fields(StepRecord)]


class _Parts:
    """The sheets of some versions and what belongs to them: five statements."""

    def __init__(self, numbers: dict[int, int], as_of: dt.date, known: int) -> None:
        self._numbers = numbers
        versions: Collection[int] = list(numbers)
        sheets = ProcedureSheet.objects.known(known).filter(version__among=versions)
        columns = ("title", "minutes", "people", "source")
        self._sheets = {version: said for version, *said in sheets.values_list("version_id", *columns)}
        approvals = VersionApproval.objects.known(known).on(as_of).filter(version__among=versions, approved=True)
        rows = approvals.values_list("version_id", "from_on", "approved_by_id")
        self._approved = {version: (from_on, person) for version, from_on, person in rows}

        def by_version(part: Any, *columns: str) -> dict[int, list[Any]]:
            found: dict[int, list[Any]] = defaultdict(list)
            lines = part.objects.known(known).filter(sheet__version__among=versions)
            order = ("procedure",) if part is CoveredProcedure else ("number", "id")
            for version, *values in lines.order_by(*order).values_list("sheet__version_id", *columns):
                found[version].append(values)
            return found

        self._covers = by_version(CoveredProcedure, "procedure_id")
        self._cautions = by_version(Caution, "prompt")
        self._steps = by_version(Step, *_STEP_COLUMNS)

    def record(self, version: int) -> VersionRecord | None:
        """None: its sheet was taken back."""
        if version not in self._sheets:
            return None
        title, minutes, people, source = self._sheets[version]
        approved_from_on, approved_by = self._approved.get(version, (None, None))
        return VersionRecord(
            version=version,
            number=self._numbers[version],
            title=title,
            minutes=minutes,
            people=people,
            source=source,
            approved_from_on=approved_from_on,
            approved_by=approved_by,
            covers=tuple(procedure for (procedure,) in self._covers[version]),
            cautions=tuple(prompt for (prompt,) in self._cautions[version]),
            steps=tuple(_step(values) for values in self._steps[version]),
        )


def _step(values: list[Any]) -> StepRecord:
    said = dict(zip((each.name for each in fields(StepRecord)), values, strict=True))
    said["kind"] = StepKind(said["kind"])
    said["subsystem"] = None if said["subsystem"] is None else Subsystem(said["subsystem"])
    said["energy_source"] = None if said["energy_source"] is None else EnergySource(said["energy_source"])
    return StepRecord(**said)
