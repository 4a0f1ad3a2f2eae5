"""What is recorded of some devices, as far as the standing of their due inspections hangs on it."""

import datetime as dt
from collections import defaultdict
from collections.abc import Collection, Iterable
from dataclasses import dataclass
from typing import Any, NamedTuple

from django.db.models import Q, QuerySet

from pmcore.engines.risk import RiskWord
from pmcore.engines.spells import StateChange, standing_since
from pmcore.engines.timeline import Timeline, timelines
from pmcore.engines.vocabulary import RiskClass, ServiceStateKind
from pmcore.models import (
    Attempt,
    CarriedOver,
    DeviceIdentity,
    DeviceOrigin,
    DueInspection,
    Entry,
    HoldDetails,
    Placement,
    PlanAnchor,
    ReasonNotDone,
    ReleasedHold,
    RiskOverride,
    ServiceState,
    Withdrawal,
)
from pmcore.queries.inspections import CompletedInspection, completed
from pmcore.queries.standing_catalogue import Catalogue


class WrittenDue(NamedTuple):
    id: int
    device: int
    plan: int
    procedure: int
    due_on: dt.date
    opens_on: dt.date
    closes_on: dt.date


class Place(NamedTuple):
    area: int
    site: int


class Tried(NamedTuple):
    outcome: str
    tried_on: dt.date
    recorded_on: dt.date


class Reason(NamedTuple):
    from_on: dt.date
    reason: str
    hold: int | None


@dataclass(frozen=True, slots=True)
class DeviceFacts:
    """Each by device, or by due inspection where the name says so. `held`: of each hold its first day and, if it was
    released, the day of that."""

    dues: dict[int, list[WrittenDue]]
    withdrawn_on: dict[int, dt.date | None]
    places: dict[int, Timeline[Place]]
    states: dict[int, list[StateChange]]
    done: dict[int, list[CompletedInspection]]
    models: dict[int, int]
    begins_on: dict[int, dt.date]
    carried: dict[int, dict[int, dt.date]]
    anchors: dict[int, set[tuple[int, dt.date]]]
    overrides: dict[int, list[RiskWord]]
    attempts_at: dict[int, list[Tried]]
    reasons_for: dict[int, list[Reason]]
    held: dict[int, tuple[dt.date, dt.date | None]]


def facts_of(devices: Collection[int], catalogue: Catalogue) -> DeviceFacts:
    """At most a thousand devices at a time. Two dozen statements, however many devices."""
    known = catalogue.known
    of_device, of_due = Q(device__in=devices), Q(due_inspection__device__in=devices)
    states = ServiceState.objects.known(known).filter(of_device)
    attempts = Attempt.objects.known(known).filter(of_due)
    overrides = RiskOverride.objects.known(known).filter(of_device)
    places = _places(devices, known)
    moments = _moments(states, attempts, overrides)
    return DeviceFacts(
        dues=_dues(devices, known),
        withdrawn_on=_withdrawn(of_due, known),
        places=places,
        states=_states(states, places, moments, catalogue),
        done=_by(completed(devices, known), "device"),
        models=dict(DeviceIdentity.objects.known(known).filter(of_device).values_list("device_id", "device_model_id")),
        begins_on=dict(DeviceOrigin.objects.known(known).filter(of_device).values_list("device_id", "known_from_on")),
        carried=_carried(of_device, known),
        anchors=_anchors(of_device, known),
        overrides=_overrides(overrides, moments),
        attempts_at=_attempts(attempts, places, moments, catalogue),
        reasons_for=_reasons(of_due, known),
        held=_held(devices, known),
    )


def _by(rows: Iterable[Any], name: str) -> dict[int, list[Any]]:
    found: dict[int, list[Any]] = defaultdict(list)
    for row in rows:
        found[getattr(row, name)].append(row)
    return found


def _dues(devices: Collection[int], known: int) -> dict[int, list[WrittenDue]]:
    rows = DueInspection.objects.known(known).filter(device__in=devices).order_by("id")
    columns = ("id", "device_id", "plan_id", "procedure_id", "due_on", "opens_on", "closes_on")
    return _by((WrittenDue(*row) for row in rows.values_list(*columns)), "device")


def _withdrawn(of_due: Q, known: int) -> dict[int, dt.date | None]:
    rows = Withdrawal.objects.known(known).filter(of_due).order_by("from_on", "id")
    said: dict[int, list[tuple[dt.date, bool]]] = defaultdict(list)
    for due, from_on, withdrawn in rows.values_list("due_inspection_id", "from_on", "withdrawn"):
        said[due].append((from_on, withdrawn))
    return {due: standing_since(changes) for due, changes in said.items()}


def _places(devices: Collection[int], known: int) -> dict[int, Timeline[Place]]:
    rows = Placement.objects.known(known).filter(device__in=devices).order_by("from_on", "id")
    columns = ("device_id", "from_on", "area_id", "area__site_id")
    return timelines((device, from_on, Place(area, site)) for device, from_on, area, site in rows.values_list(*columns))


def _moments(*facts: QuerySet[Any]) -> dict[int, dt.datetime]:
    """When the facts were written. One set of entries: of several PostgreSQL would read every entry there is."""
    first, *others = (rows.order_by().values("entry") for rows in facts)
    return dict(Entry.objects.filter(seq__in=first.union(*others)).values_list("seq", "at"))


def _site_on(places: dict[int, Timeline[Place]], device: int, day: dt.date) -> int | None:
    place = places[device].from_the_first_on(day) if device in places else None
    return place.site if place else None


def _states(
    rows: QuerySet[Any],
    places: dict[int, Timeline[Place]],
    moments: dict[int, dt.datetime],
    catalogue: Catalogue,
) -> dict[int, list[StateChange]]:
    found: dict[int, list[StateChange]] = defaultdict(list)
    columns = ("device_id", "from_on", "state", "sealed", "in_hand", "entry")
    for device, from_on, state, sealed, in_hand, entry in rows.order_by("from_on", "id").values_list(*columns):
        recorded_on = catalogue.day_at(_site_on(places, device, from_on), moments[entry])
        change = StateChange(from_on, ServiceStateKind(state), recorded_on, bool(sealed and in_hand))
        found[device].append(change)
    return found


def _attempts(
    rows: QuerySet[Any],
    places: dict[int, Timeline[Place]],
    moments: dict[int, dt.datetime],
    catalogue: Catalogue,
) -> dict[int, list[Tried]]:
    found: dict[int, list[Tried]] = defaultdict(list)
    columns = (
        "due_inspection_id", "due_inspection__device_id", "due_inspection__due_on", "outcome", "tried_on", "entry",
    )  # fmt: skip
    for due, device, due_on, outcome, tried_on, entry in rows.order_by("id").values_list(*columns):
        recorded_on = catalogue.day_at(_site_on(places, device, due_on), moments[entry])
        found[due].append(Tried(outcome, tried_on, recorded_on))
    return found


def _carried(of_device: Q, known: int) -> dict[int, dict[int, dt.date]]:
    found: dict[int, dict[int, dt.date]] = defaultdict(dict)
    rows = CarriedOver.objects.known(known).filter(of_device)
    for device, procedure, performed_on in rows.values_list("device_id", "procedure_id", "performed_on"):
        found[device][procedure] = performed_on
    return found


def _anchors(of_device: Q, known: int) -> dict[int, set[tuple[int, dt.date]]]:
    found: dict[int, set[tuple[int, dt.date]]] = defaultdict(set)
    rows = PlanAnchor.objects.known(known).filter(of_device)
    for device, plan, anchor_on in rows.values_list("device_id", "plan_id", "anchor_on"):
        found[device].add((plan, anchor_on))
    return found


def _overrides(rows: QuerySet[Any], moments: dict[int, dt.datetime]) -> dict[int, list[RiskWord]]:
    found: dict[int, list[RiskWord]] = defaultdict(list)
    columns = ("device_id", "from_on", "risk_class", "entry")
    for device, from_on, risk_class, entry in rows.order_by("from_on", "id").values_list(*columns):
        becomes = None if risk_class is None else RiskClass(risk_class)
        found[device].append(RiskWord(from_on, moments[entry].date(), becomes))
    return found


def _reasons(of_due: Q, known: int) -> dict[int, list[Reason]]:
    found: dict[int, list[Reason]] = defaultdict(list)
    rows = ReasonNotDone.objects.known(known).filter(of_due).order_by("from_on", "id")
    for due, from_on, reason, hold in rows.values_list("due_inspection_id", "from_on", "reason", "hold_id"):
        found[due].append(Reason(from_on, reason, hold))
    return found


def _held(devices: Collection[int], known: int) -> dict[int, tuple[dt.date, dt.date | None]]:
    """Only holds that a reason rests on are asked for."""
    named = ReasonNotDone.objects.known(known).filter(due_inspection__device__in=devices, hold__isnull=False)
    wanted = named.values("hold")
    released = ReleasedHold.objects.known(known).filter(hold__in=wanted)
    lifted = dict(released.order_by("-statement__signed_on").values_list("hold_id", "statement__signed_on"))
    details = HoldDetails.objects.known(known).filter(hold__in=wanted).order_by("-from_on")
    return {hold: (from_on, lifted.get(hold)) for hold, from_on in details.values_list("hold_id", "from_on")}
