"""What is due, and who is to do it: the list that a scheduler gives out from and a technician works through."""

import datetime as dt
from collections.abc import Collection, Iterator, Mapping, Sequence
from dataclasses import dataclass, replace
from typing import Any

import numpy as np
from numpy.typing import NDArray

from pmcore.engines.due_status import STATES, states_on
from pmcore.engines.records import Actor
from pmcore.engines.vocabulary import AttemptOutcome, DueState, Grouping, Half, ReasonCode, RiskClass, Role
from pmcore.models import DeviceIdentity, DueInspection, PlanTerms, ProcedureDetails, TagHeld
from pmcore.queries.asked import BadPeriod, OutsideYourSites, check_known, sites_allowed
from pmcore.queries.assigned import Assigned, assigned_among, assigned_to, names_of
from pmcore.queries.device_labels import DeviceLabel, labels_of
from pmcore.queries.group_names import group_names
from pmcore.queries.miss_evidence import Evidence, evidence_of
from pmcore.queries.read_standings import standings_between, standings_for, standings_on
from pmcore.queries.standing_catalogue import Catalogue, catalogue
from pmcore.queries.standing_rows import RISK_CLASSES, Standings

TO_DO = frozenset({DueState.AHEAD, DueState.OPEN, DueState.OVERDUE})
_GRAVE = (RiskClass.LIFE_SUPPORT, RiskClass.HIGH_RISK)

Truth = NDArray[np.bool_]
Key = tuple[dt.date, int]
"""Where a page ended: the closing day and id of its last row."""


@dataclass(frozen=True, slots=True)
class DueFilter:
    """None: all of them. Without `closes_from` the list begins on the day asked for, and whatever is overdue then
    stands before it. `words`: a part of the tag or serial number. `assigned_to` (a person) and `unassigned` exclude one
    another. Raises BadPeriod, BadAssignee."""

    closes_to: dt.date | None = None
    closes_from: dt.date | None = None
    sites: frozenset[int] | None = None
    areas: frozenset[int] | None = None
    device_classes: frozenset[int] | None = None
    risk_classes: frozenset[RiskClass] | None = None
    states: frozenset[DueState] = TO_DO
    assigned_to: int | None = None
    unassigned: bool = False
    words: str | None = None
    opens_from: dt.date | None = None
    opens_to: dt.date | None = None

    def __post_init__(self) -> None:
        for first, last in ((self.closes_from, self.closes_to), (self.opens_from, self.opens_to)):
            if first and last and first > last:
                raise BadPeriod(f"The period begins on {first}, after its end on {last}.")
        if self.unassigned and self.assigned_to is not None:
            raise BadAssignee("What is given to nobody is given to no person either.")


class BadAssignee(ValueError):
    """Somebody and nobody at once."""


@dataclass(frozen=True, slots=True)
class GivenTo:
    person: int
    name: str
    on: dt.date | None
    half: Half | None


@dataclass(frozen=True, slots=True)
class DueItem:
    """One due inspection as it stands on the day asked for; site, area and class by id and newest name (0 and "":
    nobody said). `completed_on`: the day on which it was done. `attempts`: how often somebody went in vain, the last
    time on `tried_on` with `tried_outcome`; `reason`: the last one recorded, standing from `reason_on`."""

    due_inspection: int
    device: DeviceLabel
    device_class: int
    device_class_name: str
    site: int
    site_name: str
    area: int
    area_name: str
    risk_class: RiskClass
    plan: int
    plan_name: str
    procedure: int
    procedure_name: str
    opens_on: dt.date
    due_on: dt.date
    closes_on: dt.date
    state: DueState
    completed_on: dt.date | None
    assigned: tuple[GivenTo, ...]
    attempts: int
    tried_on: dt.date | None
    tried_outcome: AttemptOutcome | None
    reason: ReasonCode | None
    reason_on: dt.date | None


@dataclass(frozen=True, slots=True)
class DuePage:
    """`total` rows answer the question, of which these are some. `all_of_them`, `given_to_nobody` and `grave_to_nobody`
    (high-risk or life-support) count whatever the question says of people. `next_after`: None on the last page."""

    asked: DueFilter
    as_of: dt.date
    known: int
    rows: tuple[DueItem, ...]
    next_after: Key | None
    total: int
    all_of_them: int
    given_to_nobody: int
    grave_to_nobody: int
    overdue: int


def due_page(
    asked: DueFilter, *, as_of: dt.date, known: int, actor: Actor, after: Key | None = None, limit: int = 100
) -> DuePage:
    """In order of closing day and id, those after the key. A provider sees what they were given, nothing else. A fixed
    number of statements, whatever is asked.

    Raises KnownBeyond, OutsideYourSites.
    """
    check_known(known)
    facts = catalogue(known)
    asked = _narrowed(asked, actor)
    found = _read(asked, as_of, facts)
    chosen = found.where(_chosen(found, asked, as_of))
    given = assigned_among(chosen.due_inspection.tolist(), as_of=as_of, known=known)
    nobodys = np.array([due not in given for due in chosen.due_inspection.tolist()], bool)
    grave = np.isin(chosen.risk_class, [RISK_CLASSES.index(each) for each in _GRAVE])
    late = states_on(chosen, as_of) == STATES.index(DueState.OVERDUE)
    counts = (len(chosen), int(nobodys.sum()), int((nobodys & grave).sum()), int(late.sum()))
    listed = chosen.where(nobodys) if asked.unassigned else chosen
    listed = listed.where(np.lexsort((listed.due_inspection, listed.closes_on)))
    page = listed.where(_after(listed, after))
    total, more = len(listed), len(page) > limit
    rows = tuple(_items(page.where(np.arange(len(page)) < limit), given, as_of, known))
    following = (rows[-1].closes_on, rows[-1].due_inspection) if more and rows else None
    return DuePage(asked, as_of, known, rows, following, total, *counts)


def due_items(dues: Collection[int], *, as_of: dt.date, known: int, actor: Actor) -> list[DueItem]:
    """These due inspections, whatever their state, as far as the actor may see them; a fixed number of statements."""
    check_known(known)
    asked = _narrowed(DueFilter(states=frozenset(DueState)), actor)
    own = None if asked.assigned_to is None else assigned_to(asked.assigned_to, as_of=as_of, known=known)
    found = standings_for([due for due in dues if own is None or due in own], catalogue=catalogue(known))
    if asked.sites is not None:
        found = found.where(_at(found.site, asked.sites))
    given = assigned_among(found.due_inspection.tolist(), as_of=as_of, known=known)
    return list(_items(found, given, as_of, known))


def _narrowed(asked: DueFilter, actor: Actor) -> DueFilter:
    sites = sites_allowed(actor, asked.sites)
    if actor.role is Role.PROVIDER:
        if asked.unassigned or asked.assigned_to not in (None, actor.person):
            raise OutsideYourSites("A provider sees what they were given themselves.")
        return replace(asked, sites=sites, assigned_to=actor.person)
    return replace(asked, sites=sites)


def _read(asked: DueFilter, as_of: dt.date, facts: Catalogue) -> Standings:
    named = devices_named(asked.words, on=as_of, known=facts.known) if asked.words else None
    if asked.assigned_to is not None:
        own = standings_for(assigned_to(asked.assigned_to, as_of=as_of, known=facts.known), catalogue=facts)
        return own if named is None else own.where(np.isin(own.device, list(named)))
    if named is not None:
        return standings_on(named, catalogue=facts)
    starts_on, ends_on = asked.closes_from or as_of, asked.closes_to or dt.date.max
    return standings_between(starts_on, ends_on, as_of=as_of, catalogue=facts, sites=asked.sites)


def _chosen(found: Standings, asked: DueFilter, as_of: dt.date) -> Truth:
    states = states_on(found, as_of)
    wanted: Truth = np.isin(states, [STATES.index(state) for state in asked.states])
    wanted &= _at(found.site, asked.sites) & _at(found.area, asked.areas)
    wanted &= _at(found.device_class, asked.device_classes)
    if asked.risk_classes is not None:
        wanted &= np.isin(found.risk_class, [RISK_CLASSES.index(each) for each in asked.risk_classes])
    late = states == STATES.index(DueState.OVERDUE) if asked.closes_from is None else np.False_
    wanted &= late | (found.closes_on >= np.datetime64(asked.closes_from or as_of, "D"))
    if asked.closes_to is not None:
        wanted &= found.closes_on <= np.datetime64(asked.closes_to, "D")
    if asked.opens_from is not None:
        wanted &= found.opens_on >= np.datetime64(asked.opens_from, "D")
    if asked.opens_to is not None:
        wanted &= found.opens_on <= np.datetime64(asked.opens_to, "D")
    return wanted


def _at(column: NDArray[np.int64], wanted: frozenset[int] | None) -> Any:
    return True if wanted is None else np.isin(column, list(wanted))


def devices_named(words: str, *, on: dt.date, known: int) -> set[int]:
    """Devices whose tag on the day, or serial number, contains the words: two statements."""
    tagged = TagHeld.objects.known(known).filter(tag__icontains=words).on(on)
    numbered = DeviceIdentity.objects.known(known).filter(serial__icontains=words)
    return {*tagged.values_list("device_id", flat=True), *numbered.values_list("device_id", flat=True)}


def _after(found: Standings, key: Key | None) -> Truth:
    if key is None:
        return np.ones(len(found), bool)
    day = np.datetime64(key[0], "D")
    later: Truth = (found.closes_on > day) | ((found.closes_on == day) & (found.due_inspection > key[1]))
    return later


def _items(page: Standings, given: Mapping[int, Sequence[Assigned]], as_of: dt.date, known: int) -> Iterator[DueItem]:
    """Seven statements for what things are called, two for what stood in the way."""
    dues = page.due_inspection.tolist()
    labels = labels_of(set(page.device.tolist()), on=as_of, known=known)
    sites, areas, classes = (group_names(by, known) for by in (Grouping.SITE, Grouping.AREA, Grouping.DEVICE_CLASS))
    plans = _newest(PlanTerms.objects.known(known), "plan_id")
    procedures = _newest(ProcedureDetails.objects.known(known), "procedure_id")
    asks = dict(DueInspection.objects.filter(pk__among=dues).values_list("pk", "procedure_id"))
    names = names_of({each.person for due in dues for each in given.get(due, ())}, known)
    evidence = evidence_of(dues, as_of=as_of, known=known)
    states = states_on(page, as_of)
    for at, due in enumerate(dues):
        device_class, site, area, plan = (
            int(column[at]) for column in (page.device_class, page.site, page.area, page.plan)
        )
        completed_on = page.completed_on[at].item()
        said = evidence.get(due, Evidence())
        tried_on, tried_outcome = said.attempts[-1] if said.attempts else (None, None)
        reason_on, reason = said.reasons[-1] if said.reasons else (None, None)
        people = (GivenTo(each.person, names[each.person], each.on, each.half) for each in given.get(due, ()))
        yield DueItem(
            due_inspection=due,
            device=labels[int(page.device[at])],
            device_class=device_class,
            device_class_name=classes.get(device_class, "") if device_class else "",
            site=site,
            site_name=sites.get(site, "") if site else "",
            area=area,
            area_name=areas.get(area, "") if area else "",
            risk_class=RISK_CLASSES[page.risk_class[at]],
            plan=plan,
            plan_name=plans.get(plan, ""),
            procedure=asks[due],
            procedure_name=procedures.get(asks[due], ""),
            opens_on=page.opens_on[at].item(),
            due_on=page.due_on[at].item(),
            closes_on=page.closes_on[at].item(),
            state=STATES[states[at]],
            completed_on=completed_on if completed_on is not None and completed_on <= as_of else None,
            assigned=tuple(people),
            attempts=len(said.attempts),
            tried_on=tried_on,
            tried_outcome=tried_outcome,
            reason=reason,
            reason_on=reason_on,
        )


def _newest(facts: Any, key: str) -> dict[int, str]:
    return dict(facts.order_by("from_on", "id").values_list(key, "name"))
