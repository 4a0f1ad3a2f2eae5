"""The standing of every due inspection: what is known to have become of it. Computed from the facts, device by device;
`kept_standings` keeps the results."""

import datetime as dt
from collections.abc import Collection, Iterator, Sequence
from dataclasses import replace

from pmcore.engines.attempts import reason_stands_from
from pmcore.engines.crediting import Credit, Opening, Performed, credited
from pmcore.engines.due_dates import IntervalRule, Window, window_of
from pmcore.engines.due_history import kept_until
from pmcore.engines.records import Attempt
from pmcore.engines.risk import RiskWord, risk_class_on
from pmcore.engines.spells import departure_for, departures, seal_for, seals
from pmcore.engines.timeline import Timeline
from pmcore.engines.vocabulary import (
    AttemptOutcome,
    Basis,
    InspectionKind,
    PlanBasis,
    ReasonCode,
    RiskClass,
    Unit,
    WindowKind,
)
from pmcore.queries.standing_catalogue import Catalogue, PlanOnDay
from pmcore.queries.standing_facts import DeviceFacts, Place, Reason, WrittenDue, facts_of
from pmcore.queries.standing_rows import BASES, NEVER, NOTHING, RISK_CLASSES, Standing, day_number

DEVICES_AT_ONCE = 500

_ENOUGH_ATTEMPTS = (AttemptOutcome.NOT_FOUND, AttemptOutcome.WITH_A_PATIENT)
_RESTS_ON_ATTEMPTS = {
    ReasonCode.NOT_FOUND: AttemptOutcome.NOT_FOUND,
    ReasonCode.WITH_A_PATIENT: AttemptOutcome.WITH_A_PATIENT,
}
_MONTHLY = IntervalRule(1, Unit.MONTH, Basis.ANCHORED, Window.calendar_month())
_CARRIED = 0  # no inspection: a day that was carried over
_WISHED = 2**63 - 1  # none yet: work that comes after all that was done on its day


def standings_of(devices: Collection[int], catalogue: Catalogue) -> Iterator[Standing]:
    """The standings of all due inspections of the devices, in chunks of devices, each from a fixed number of
    statements."""
    wanted = sorted(devices)
    for start in range(0, len(wanted), DEVICES_AT_ONCE):
        facts = facts_of(wanted[start : start + DEVICES_AT_ONCE], catalogue)
        for device, dues in facts.dues.items():
            yield from _Device(device, facts, catalogue).standings(dues)


def credit_of_work(
    due: int, device: int, on: dt.date, *, re_anchors: bool, catalogue: Catalogue
) -> tuple[int, dt.date] | None:
    """Which due inspection of the same plan, by id and due date, the whole sheet of this one would be credited to if it
    were done on the device that day; None: to none. `re_anchors`: the plan counts from that day by the same act."""
    facts = facts_of([device], catalogue)
    dues = facts.dues.get(device, [])
    wanted = next((each for each in dues if each.id == due), None)
    if wanted is None:
        return None
    asks = frozenset({wanted.procedure})
    work = Performed(_WISHED, on, re_anchors=re_anchors, does=asks, sets=asks)
    earned = _Device(device, facts, catalogue).credits_with(work, wanted.plan)
    return next(((each.id, each.due_on) for each in dues if each.id in earned and earned[each.id].by == _WISHED), None)


def credits_of_work(device: int, on: dt.date, does: frozenset[int], catalogue: Catalogue) -> list[int]:
    """The due inspections, of each plan one at most, to which the whole of a sheet that does these procedures would be
    credited if it were done on the device that day."""
    facts = facts_of([device], catalogue)
    work = Performed(_WISHED, on, does=does, sets=does)
    told = _Device(device, facts, catalogue)
    plans = {due.plan for due in facts.dues.get(device, ())}
    earned = (credit for plan in sorted(plans) for credit in told.credits_with(work, plan).items())
    return [due for due, credit in earned if credit.by == _WISHED]


class _Device:
    """One device and what was recorded of it."""

    def __init__(self, device: int, facts: DeviceFacts, catalogue: Catalogue) -> None:
        self.device, self.facts, self.catalogue = device, facts, catalogue
        changes = facts.states.get(device, ())
        self.departures, self.seals = departures(changes), seals(changes)
        self.places: Timeline[Place] = facts.places.get(device) or Timeline()
        self.classes: Timeline[int] = catalogue.classes.get(facts.models.get(device, NOTHING)) or Timeline()

    def standings(self, dues: Sequence[WrittenDue]) -> Iterator[Standing]:
        by_plan: dict[int, list[WrittenDue]] = {}
        for due in dues:
            by_plan.setdefault(due.plan, []).append(due)
        for plan, own in by_plan.items():
            yield from self._of_plan(plan, own)

    def _of_plan(self, plan: int, dues: Sequence[WrittenDue]) -> Iterator[Standing]:
        terms = self.catalogue.plans.get(plan) or Timeline()
        openings = sorted(due.opens_on for due in dues if self.facts.withdrawn_on.get(due.id) is None)
        earned = self._credits(plan, dues, terms)
        for due in dues:
            following = next((day for day in openings if day > due.opens_on), None)
            yield self._standing(due, terms, following, earned.get(due.id))

    def credits_with(self, work: Performed, plan: int) -> dict[int, Credit]:
        """As though the work had been done besides what was."""
        dues = [due for due in self.facts.dues.get(self.device, ()) if due.plan == plan]
        return self._credits(plan, dues, self.catalogue.plans.get(plan) or Timeline(), work)

    def _credits(
        self, plan: int, dues: Sequence[WrittenDue], terms: Timeline[PlanOnDay], *more: Performed
    ) -> dict[int, Credit]:
        """After a plan's change of procedure the old one meets what asks for it; one inspection meets one of a plan."""
        rules = [(from_on, on_day.rule) for from_on, on_day in terms]
        begins_on = self.facts.begins_on.get(self.device) or min(due.opens_on for due in dues)
        openings = [
            Opening(due.id, due.opens_on, due.due_on, due.closes_on, self.facts.withdrawn_on.get(due.id), due.procedure)
            for due in dues
        ]
        performed = [*self._performed(plan, {due.procedure for due in dues}), *more]
        return credited(openings, performed, rules, begins_on)

    def _performed(self, plan: int, procedures: set[int]) -> Iterator[Performed]:
        anchors = self.facts.anchors.get(self.device, ())
        for done in self.facts.done.get(self.device, ()):
            does = frozenset(procedure for procedure in procedures if self.catalogue.covering.does(done, procedure))
            incoming = done.kind == InspectionKind.INCOMING
            if does or incoming:
                day = done.performed_on
                sets = None if incoming else does
                yield Performed(done.inspection, day, re_anchors=(plan, day) in anchors, does=does, sets=sets)
        for procedure, day in self.facts.carried.get(self.device, {}).items():
            yield Performed(_CARRIED, day, does=frozenset(), sets=frozenset({procedure}))

    def _standing(
        self, due: WrittenDue, terms: Timeline[PlanOnDay], next_opens_on: dt.date | None, credit: Credit | None
    ) -> Standing:
        place = self.places.from_the_first_on(due.due_on)
        device_class = self.classes.from_the_first_on(due.due_on)
        on_day = terms.from_the_first_on(due.opens_on)
        left, seal = departure_for(self.departures, due.due_on), seal_for(self.seals, due.opens_on)
        return Standing(
            due_inspection=due.id,
            device=self.device,
            plan=due.plan,
            site=place.site if place else NOTHING,
            area=place.area if place else NOTHING,
            device_class=device_class or NOTHING,
            risk_class=RISK_CLASSES.index(self._risk(device_class, due.opens_on)),
            basis=BASES.index(on_day.basis if on_day else PlanBasis.MAKER),
            anchored=int(on_day is not None and on_day.rule.basis is Basis.ANCHORED),
            inspection=credit.by if credit else NOTHING,
            opens_on=day_number(due.opens_on),
            due_on=day_number(due.due_on),
            closes_on=day_number(due.closes_on),
            next_opens_on=day_number(next_opens_on),
            completed_on=day_number(credit.on if credit else None),
            withdrawn_on=day_number(self.facts.withdrawn_on.get(due.id)),
            left_on=day_number(left.from_on if left else None),
            left_recorded_on=day_number(left.recorded_on if left else None),
            sealed_on=day_number(seal.from_on if seal else None),
            sealed_recorded_on=day_number(seal.recorded_on if seal else None),
            unsealed_on=day_number(seal.until_on if seal else None),
            reason_on=day_number(self._reason(due, place)),
            recorded_on=self._recorded(credit),
            previous_on=day_number(credit.previous_on if credit else None),
            latest_on=_latest(due, credit, on_day),
            moved_on=day_number(self._moved(due)),
        )

    def _risk(self, device_class: int | None, opens_on: dt.date) -> RiskClass:
        scored = risk_class_on(self.catalogue.risk.get(device_class or NOTHING, ()), opens_on)
        words: Sequence[RiskWord] = self.facts.overrides.get(self.device, ())
        return risk_class_on(words, opens_on, otherwise=scored)

    def _recorded(self, credit: Credit | None) -> int:
        if credit is None:
            return NEVER
        done = next(each for each in self.facts.done[self.device] if each.inspection == credit.by)
        return day_number(done.recorded_on)

    def _moved(self, due: WrittenDue) -> dt.date | None:
        """The first arrival at another site on a day of the window."""
        before: Place | None = None
        for from_on, place in self.places:
            arrives = before is not None and place.site != before.site
            if arrives and due.opens_on <= from_on <= due.closes_on:
                return from_on
            before = place
        return None

    def _reason(self, due: WrittenDue, place: Place | None) -> dt.date | None:
        """Since when an acceptable reason stands: one that was recorded and still has its evidence, or attempts that
        are evidence enough by themselves."""
        since = [self._attempts(due, place, outcome) for outcome in _ENOUGH_ATTEMPTS]
        since += [reason.from_on for reason in self._recorded_reasons(due, place)]
        return min((day for day in since if day is not None), default=None)

    def _recorded_reasons(self, due: WrittenDue, place: Place | None) -> Iterator[Reason]:
        for reason in self.facts.reasons_for.get(due.id, ()):
            outcome = _RESTS_ON_ATTEMPTS.get(ReasonCode(reason.reason))
            if outcome is not None:
                rests = self._attempts(due, place, outcome) is not None
            elif reason.hold is not None:
                rests = self._was_held(reason.hold, min(reason.from_on, due.closes_on))
            else:
                rests = True
            if rests:
                yield reason

    def _was_held(self, hold: int, day: dt.date) -> bool:
        if hold not in self.facts.held:
            return False
        from_on, lifted_on = self.facts.held[hold]
        return from_on <= day and (lifted_on is None or day < lifted_on)

    def _attempts(self, due: WrittenDue, place: Place | None, outcome: AttemptOutcome) -> dt.date | None:
        tried = [each for each in self.facts.attempts_at.get(due.id, ()) if each.outcome == outcome]
        if not tried:
            return None
        calendar = self.catalogue.calendar(place.site if place else None)
        return reason_stands_from(
            [Attempt(each.tried_on, each.recorded_on) for each in tried],
            due.opens_on,
            due.closes_on,
            weekend=calendar.weekend,
            holidays=calendar.holidays,
            days_needed=self.catalogue.settings.on("search_days", due.closes_on),
            working_days_to_record=self.catalogue.settings.on("search_record_working_days", due.closes_on),
        )


def _latest(due: WrittenDue, credit: Credit | None, on_day: PlanOnDay | None) -> int:
    if credit is None or credit.previous_on is None or on_day is None:
        return NEVER
    return day_number(kept_until(replace(on_day.rule, window=_window(due, on_day.window)), credit.previous_on))


def _window(due: WrittenDue, kind: WindowKind) -> Window:
    """The days after the due date, as they were written. A row of the table that gives a calendar month shows in what
    it gave."""
    gave_month = (due.opens_on, due.closes_on) == window_of(_MONTHLY, due.due_on)
    if kind == WindowKind.CALENDAR_MONTH or (kind == WindowKind.TABLE and gave_month):
        return Window.calendar_month()
    return Window.days(0, (due.closes_on - due.due_on).days)
