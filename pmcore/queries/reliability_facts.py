"""What failure rates are computed from, read whole: a fixed number of statements however many devices there are."""

import datetime as dt
from collections import defaultdict
from dataclasses import dataclass
from typing import Any

import numpy as np
from django.db.models import QuerySet
from django.db.models.functions import Coalesce

from pmcore.engines.strata import Held, Ids
from pmcore.engines.vocabulary import ServiceStateKind
from pmcore.models import (
    Area,
    DeviceIdentity,
    DeviceOrigin,
    DeviceRevision,
    FindingDetails,
    HoldDetails,
    ModelDetails,
    Placement,
    ReleasedHold,
    ServiceState,
)
from pmcore.queries.day_numbers import day_of, number_columns

STATES = tuple(ServiceStateKind)
NEVER = 2**22 - 1  # later than any day
_STATE_AT = {state: at for at, state in enumerate(STATES)}


@dataclass(frozen=True, slots=True)
class Said:
    """What is said of the states of devices: columns of one length. `state`: its place in STATES; `last_seen_on`:
    `from_on` where nobody said."""

    device: Ids
    from_on: Ids
    order: Ids
    state: Ids
    last_seen_on: Ids


@dataclass(frozen=True, slots=True)
class Times:
    """Columns of one length: the days [from_on, until_on) of a device."""

    device: Ids
    from_on: Ids
    until_on: Ids


@dataclass(frozen=True, slots=True)
class FindingSaid:
    """A finding as it was seen on the day asked for. `released_on`: the day of the signed release after it."""

    finding: int
    device: int
    discovered_on: dt.date
    discovery: str
    subsystem: str
    cause: str
    failure: str
    severity: str
    same_root_as: int | None
    position: int | None
    released_on: dt.date | None


@dataclass(frozen=True, slots=True)
class ReliabilityFacts:
    """`models`, `classes`: of each device, of each model, 0 is nobody's; `sites`: of each area. `known_from`: the
    first day of each device's history; devices without one earn no exposure."""

    models: Held
    classes: dict[int, int]
    sites: dict[int, int]
    known_from: tuple[Ids, Ids]
    areas: Held
    revisions: Held
    states: Said
    holds: Times
    findings: tuple[FindingSaid, ...]


def reliability_facts(*, as_of: dt.date, known: int) -> ReliabilityFacts:
    """Ten statements. What begins after the day is read along; nobody asks for later days."""
    described = ModelDetails.objects.known(known).order_by("from_on", "id")
    device, model = number_columns(DeviceIdentity.objects.known(known), "device_id", "device_model_id")
    holds, lifted = _holds(as_of, known)
    beginning = np.full(len(device), -(2**21), np.int64)
    origins = DeviceOrigin.objects.known(known)
    return ReliabilityFacts(
        models=Held.of(device, beginning, model, device),
        classes=dict(described.values_list("device_model_id", "device_class_id")),
        sites=dict(Area.objects.known(known).values_list("id", "site_id")),
        known_from=_two(number_columns(origins, "device_id", day_of("known_from_on"))),
        areas=_held(Placement.objects.known(known), "area_id"),
        revisions=_held(DeviceRevision.objects.known(known), "revision_id"),
        states=_states(known),
        holds=holds,
        findings=_findings(as_of, known, lifted, holds),
    )


def _two(columns: tuple[Ids, ...]) -> tuple[Ids, Ids]:
    return columns[0], columns[1]


def _held(rows: QuerySet[Any], value: str) -> Held:
    device, from_on, said, order = number_columns(rows, "device_id", day_of("from_on"), value, "id")
    return Held.of(device, from_on, said, order)


def _states(known: int) -> Said:
    rows = ServiceState.objects.known(known).order_by()
    seen_on = Coalesce(day_of("last_seen_on"), day_of("from_on"))
    table = [
        (device, from_on, order, _STATE_AT[state], last_seen_on)
        for device, from_on, order, state, last_seen_on in rows.values_list(
            "device_id", day_of("from_on"), "id", "state", seen_on
        )
    ]
    return Said(*np.array(table, np.int64).reshape(-1, 5).T)


def _holds(as_of: dt.date, known: int) -> tuple[Times, dict[int, int]]:
    """From the first day of each hold to the day on which it was first lifted, and the latter by the finding that led
    to the hold; two statements."""
    lifted = ReleasedHold.objects.known(known).filter(statement__signed_on__lte=as_of)
    lifted_on: dict[int, int] = {}
    for hold, on in lifted.order_by().values_list("hold_id", day_of("statement__signed_on")):
        lifted_on[hold] = min(on, lifted_on.get(hold, NEVER))
    placed: dict[int, tuple[int, int]] = {}
    of_finding: dict[int, int] = {}
    rows = HoldDetails.objects.known(known).filter(from_on__lte=as_of).order_by()
    for hold, device, from_on, finding in rows.values_list(
        "hold_id", "hold__device_id", day_of("from_on"), "finding_id"
    ):
        placed[hold] = (device, min(from_on, placed.get(hold, (device, NEVER))[1]))
        if finding is not None:
            of_finding[finding] = max(lifted_on.get(hold, NEVER), of_finding.get(finding, 0))
    table = [(device, from_on, max(from_on, lifted_on.get(hold, NEVER))) for hold, (device, from_on) in placed.items()]
    return Times(*np.array(table, np.int64).reshape(-1, 3).T), of_finding


def _findings(as_of: dt.date, known: int, lifted: dict[int, int], holds: Times) -> tuple[FindingSaid, ...]:
    """Each as it was seen last by the day."""
    rows = FindingDetails.objects.known(known).filter(from_on__lte=as_of, discovered_on__lte=as_of)
    said = rows.order_by("from_on", "id").values_list(
        "finding_id", "finding__device_id", "discovered_on", "discovery", "subsystem", "cause", "failure", "severity",
        "same_root_as_id", "position_id", day_of("discovered_on"),
    )  # fmt: skip
    newest = {row[0]: row for row in said}
    released = _Released(lifted, holds)
    return tuple(
        FindingSaid(*[*row[:-1], released.after(finding, row[1], row[-1])]) for finding, row in sorted(newest.items())
    )


class _Released:
    """When a failure was over: by the release of the hold that it led to, else by the next one of its device."""

    def __init__(self, lifted: dict[int, int], holds: Times) -> None:
        self._of_finding = lifted
        self._of_device: dict[int, list[int]] = defaultdict(list)
        for device, until_on in zip(holds.device.tolist(), holds.until_on.tolist(), strict=True):
            self._of_device[device].append(until_on)

    def after(self, finding: int, device: int, discovered_on: int) -> dt.date | None:
        own = self._of_finding.get(finding, 0)
        days = [own] if own >= discovered_on else self._of_device.get(device, ())
        first = min((day for day in days if day >= discovered_on), default=NEVER)
        return None if first >= NEVER else dt.date(1970, 1, 1) + dt.timedelta(days=first)
