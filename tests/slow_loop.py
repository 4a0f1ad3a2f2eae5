"""The compliance figure once more: one slow loop over the rows themselves, to hold the quick one against.

It shares nothing with the quick one but the tables: every rule is written again here in plain Python, one device and
one due inspection after the other.
"""

import calendar
import datetime as dt
from collections import Counter
from collections.abc import Iterable
from dataclasses import dataclass
from functools import cached_property
from typing import Any
from zoneinfo import ZoneInfo

from pmcore import models
from tests.slow_inspections import Done, completed

DUE = ("met", "met_late", "reason_recorded", "no_reason")
APART = ("open", "ahead", "suspended", "ended", "withdrawn")
RISKS = ("other", "high_risk", "life_support")
ON_ATTEMPTS = ("with_a_patient", "could_not_be_found")
OUTCOME_OF = {"with_a_patient": "with_a_patient", "could_not_be_found": "not_found"}


@dataclass(frozen=True)
class Counted:
    """What one due inspection counts as."""

    due: int
    closes_on: dt.date
    site: int | None
    risk_class: str
    word: str


class Facts:
    """The rows as they were known at a size of the history."""

    def __init__(self, known: int) -> None:
        self.known = known
        self.rows: dict[Any, Any] = {}

    def all(self, model: Any) -> list[Any]:
        if model not in self.rows:
            self.rows[model] = [row for row in model.objects.all() if self._is_known(row)]
        found: list[Any] = self.rows[model]
        return found

    def _is_known(self, row: Any) -> bool:
        number = row.seq if isinstance(row, models.Entry) else row.entry
        replaced_by = getattr(row, "replaced_by", None)
        return bool(number <= self.known and (replaced_by is None or replaced_by > self.known))

    def of(self, model: Any, **wanted: Any) -> list[Any]:
        """Rows with these values, in the order in which they began and were recorded."""
        first, *others = wanted.items()
        found = [row for row in self._with(model, *first) if all(getattr(row, name) == value for name, value in others)]
        return sorted(found, key=lambda row: (getattr(row, "from_on", dt.date.min), row.pk))

    def _with(self, model: Any, name: str, value: Any) -> list[Any]:
        if (model, name) not in self.rows:
            self.rows[model, name] = {}
            for row in self.all(model):
                self.rows[model, name].setdefault(getattr(row, name), []).append(row)
        found: list[Any] = self.rows[model, name].get(value, [])
        return found

    def on(self, model: Any, day: dt.date, **wanted: Any) -> Any:
        """Of the facts with these values the one in force on the day."""
        begun = [row for row in self.of(model, **wanted) if row.from_on <= day]
        return begun[-1] if begun else None

    @cached_property
    def at(self) -> dict[int, dt.datetime]:
        return {entry.seq: entry.at for entry in self.all(models.Entry)}

    @cached_property
    def done(self) -> dict[int, list[Done]]:
        """Of each device its complete inspections, in the order of their days."""
        found: dict[int, list[Done]] = {}
        sessions: dict[int, list[Any]] = {}
        for session in self.all(models.InspectionSession):
            sessions.setdefault(session.inspection_id, []).append(session)
        for parts in sessions.values():
            done = completed(self, sorted(parts, key=lambda part: (part.performed_at, part.pk)))
            if done is not None:
                found.setdefault(parts[0].inspection.device_id, []).append(done)
        for of_device in found.values():
            of_device.sort(key=lambda done: (done.day, done.inspection))
        return found


def count(
    starts_on: dt.date,
    ends_on: dt.date,
    as_of: dt.date,
    known: int,
    *,
    site: int | None = None,
    risk_class: str | None = None,
) -> dict[str, int]:
    """What the windows count as that closed in the period, at a site (none: anywhere), in a risk class (none: any)."""
    return tally(outcomes(Facts(known), as_of), starts_on, ends_on, site=site, risk_class=risk_class)


def tally(
    counted: Iterable[Counted],
    starts_on: dt.date,
    ends_on: dt.date,
    *,
    site: int | None = None,
    risk_class: str | None = None,
) -> dict[str, int]:
    numbers = Counter(
        each.word
        for each in counted
        if starts_on <= each.closes_on <= ends_on
        and site in (None, each.site)
        and risk_class in (None, each.risk_class)
    )
    return {word: numbers[word] for word in (*DUE, *APART)}


def outcomes(facts: Facts, as_of: dt.date) -> list[Counted]:
    """What every due inspection of the record counts as on the day."""
    done_on = credited(facts, as_of)
    found = []
    for due in facts.all(models.DueInspection):
        word = word_of(facts, due, done_on.get(due.pk), as_of)
        site = site_of(facts, due.device_id, due.due_on)
        found.append(Counted(due.pk, due.closes_on, site, risk_on(facts, due.device_id, due.opens_on), word))
    return found


def word_of(facts: Facts, due: Any, done_on: dt.date | None, as_of: dt.date) -> str:
    if is_withdrawn(facts, due, as_of):
        return "withdrawn"
    if has_ended(facts, due, as_of):
        return "ended"
    if is_suspended(facts, due, as_of):
        return "suspended"
    if done_on is not None:
        return "met" if done_on <= due.closes_on else "met_late"
    if as_of < due.opens_on:
        return "ahead"
    if as_of <= due.closes_on:
        return "open"
    return "reason_recorded" if has_reason(facts, due, as_of) else "no_reason"


# What stands apart


def is_withdrawn(facts: Facts, due: Any, as_of: dt.date) -> bool:
    """A withdrawal that was taken back counts as though it had never been."""
    said = facts.of(models.Withdrawal, due_inspection_id=due.pk)
    return bool(said and said[-1].withdrawn and said[-1].from_on <= as_of)


def stretch(facts: Facts, device: int, day: dt.date, state: str) -> list[Any]:
    """The facts of the unbroken stretch of that state in which the day lies; of stored, sealed and in hand only."""
    found: list[Any] = []
    for fact in facts.of(models.ServiceState, device_id=device):
        if fact.from_on > day:
            break
        sealed = fact.state != "stored" or (fact.sealed and fact.in_hand)
        found = [*found, fact] if fact.state == state and sealed else []
    return found


def has_ended(facts: Facts, due: Any, as_of: dt.date) -> bool:
    """It had left by the due date, and somebody recorded that by the close."""
    left = stretch(facts, due.device_id, due.due_on, "left")
    in_time = any(recorded_on(facts, fact, due) <= due.closes_on for fact in left)
    return in_time and left[0].from_on <= as_of


def is_suspended(facts: Facts, due: Any, as_of: dt.date) -> bool:
    """Sealed and in hand on the opening day, since a day before it and recorded before it. Taken out while the window
    is open, it is due again."""
    sealed = stretch(facts, due.device_id, due.opens_on, "stored")
    before = [fact for fact in sealed if fact.from_on < due.opens_on and recorded_on(facts, fact, due) < due.opens_on]
    if as_of < due.opens_on or not before:
        return False
    still = stretch(facts, due.device_id, min(as_of, due.closes_on), "stored")
    return bool(still) and still[0].pk == sealed[0].pk


# Reasons


def has_reason(facts: Facts, due: Any, as_of: dt.date) -> bool:
    left = stretch(facts, due.device_id, due.due_on, "left")
    if any(recorded_on(facts, fact, due) <= as_of for fact in left):
        return True
    for code in ON_ATTEMPTS:
        stands_from = attempts_stand_from(facts, due, OUTCOME_OF[code])
        if stands_from is not None and stands_from <= as_of:
            return True
    reasons = facts.of(models.ReasonNotDone, due_inspection_id=due.pk)
    return any(reason.from_on <= as_of and stands(facts, due, reason) for reason in reasons)


def stands(facts: Facts, due: Any, reason: Any) -> bool:
    if reason.reason in ON_ATTEMPTS:
        return attempts_stand_from(facts, due, OUTCOME_OF[reason.reason]) is not None
    if reason.reason in ("waiting_for_a_part", "no_usable_control"):
        return is_held(facts, reason.hold_id, min(reason.from_on, due.closes_on))
    return True


def attempts_stand_from(facts: Facts, due: Any, outcome: str) -> dt.date | None:
    """The day on which attempts on a second day of the window had been recorded, in time."""
    latest = working_days_after(facts, due, 2)
    first_recorded: dict[dt.date, dt.date] = {}
    for attempt in facts.of(models.Attempt, due_inspection_id=due.pk, outcome=outcome):
        recorded = recorded_on(facts, attempt, due)
        if due.opens_on <= attempt.tried_on <= due.closes_on and recorded <= latest:
            first_recorded[attempt.tried_on] = min(recorded, first_recorded.get(attempt.tried_on, recorded))
    return sorted(first_recorded.values())[1] if len(first_recorded) > 1 else None


def is_held(facts: Facts, hold: int | None, day: dt.date) -> bool:
    placed = facts.on(models.HoldDetails, day, hold_id=hold)
    if placed is None:
        return False
    for lifted in facts.of(models.ReleasedHold, hold_id=hold):
        for statement in facts.of(models.ReleaseStatement, pk=lifted.statement_id):
            if statement.signed_on <= day:
                return False
    return True


def working_days_after(facts: Facts, due: Any, days: int) -> dt.date:
    site = site_of(facts, due.device_id, due.due_on)
    week = facts.on(models.SiteWeek, due.closes_on, site_id=site)
    working = week.working if week is not None else "1111100"
    holidays = {fact.from_on for fact in facts.of(models.SiteHoliday, site_id=site, working=False)}
    day: dt.date = due.closes_on
    while days:
        day += dt.timedelta(days=1)
        if working[day.weekday()] == "1" and day not in holidays:
            days -= 1
    return day


def recorded_on(facts: Facts, fact: Any, due: Any) -> dt.date:
    """The day on which the fact was written, by the calendar of the due inspection's site."""
    site = site_of(facts, due.device_id, due.due_on)
    at = facts.at[fact.entry]
    for day in (at.date() + dt.timedelta(days=1), at.date(), at.date() - dt.timedelta(days=1)):
        details = facts.on(models.SiteDetails, day, site_id=site)
        if details is not None and at.astimezone(ZoneInfo(details.time_zone)).date() == day:
            return day
    return at.date()


# Where it stood, and what it was


def site_of(facts: Facts, device: int, day: dt.date) -> int | None:
    placements = facts.of(models.Placement, device_id=device)
    if not placements:
        return None
    begun = [placement for placement in placements if placement.from_on <= day]
    place = begun[-1] if begun else next(each for each in reversed(placements) if each.from_on == placements[0].from_on)
    return int(place.area.site_id)


def risk_on(facts: Facts, device: int, day: dt.date) -> str:
    """A word that lowers the class looks forward only, from the day on which it was written."""
    scored = scored_on(facts, device, day)
    said = scored
    for override in facts.of(models.RiskOverride, device_id=device):
        becomes = str(override.risk_class or scored)
        written_on = facts.at[override.entry].date()
        if override.from_on <= day and (RISKS.index(becomes) >= RISKS.index(said) or written_on <= day):
            said = becomes
    return said


def scored_on(facts: Facts, device: int, day: dt.date) -> str:
    """What supports life is that; else the sum of the points of its class, which looks forward where it is lower."""
    said = "other"
    for identity in facts.of(models.DeviceIdentity, device_id=device):
        model = facts.on(models.ModelDetails, day, device_model_id=identity.device_model_id)
        if model is None:
            continue
        described = facts.on(models.ClassDetails, day, device_class_id=model.device_class_id)
        if described is not None and described.life_support:
            return "life_support"
        for assessment in facts.of(models.RiskAssessment, device_class_id=model.device_class_id):
            becomes = scored(facts, assessment)
            raises = RISKS.index(becomes) >= RISKS.index(said)
            if assessment.from_on <= day and (raises or facts.at[assessment.entry].date() <= day):
                said = becomes
    return said


def scored(facts: Facts, assessment: Any) -> str:
    values = facts.on(models.RiskTableValues, assessment.from_on, table_id=assessment.table_id)
    points = {(each.factor, each.level): each.points for each in facts.of(models.RiskPoints, values_id=values.pk)}
    levels = facts.of(models.RiskScore, assessment_id=assessment.pk)
    total = sum(points[each.factor, each.level] for each in levels)
    return "high_risk" if total >= values.high_risk_from else "other"


# Which inspection meets which due inspection


def credited(facts: Facts, as_of: dt.date) -> dict[int, dt.date]:
    """Of each due inspection that was done, the day. What was withdrawn by then is not there to be done."""
    of_plan: dict[tuple[int, int], list[Any]] = {}
    for due in sorted(facts.all(models.DueInspection), key=lambda due: (due.due_on, due.pk)):
        of_plan.setdefault((due.device_id, due.plan_id), []).append(due)
    done_on: dict[int, dt.date] = {}
    for (device, _), dues in of_plan.items():
        for done in facts.done.get(device, []):
            wanted = [due for due in dues if due.procedure_id in done.does and not is_withdrawn(facts, due, done.day)]
            opened = [due for due in wanted if due.opens_on <= done.day <= as_of]
            ahead = [due for due in wanted if due.opens_on > done.day and done.day <= as_of]
            if opened and opened[-1].pk not in done_on:
                done_on[opened[-1].pk] = done.day
            elif ahead and ahead[0].pk not in done_on and counts_early(facts, ahead[0], done):
                done_on[ahead[0].pk] = done.day
    return done_on


def terms_on(facts: Facts, plan: int, day: dt.date) -> Any:
    return facts.on(models.PlanTerms, day, plan_id=plan) or facts.of(models.PlanTerms, plan_id=plan)[0]


def counts_early(facts: Facts, due: Any, done: Done) -> bool:
    terms = terms_on(facts, due.plan_id, done.day)
    anchors = facts.of(models.PlanAnchor, plan_id=due.plan_id, device_id=due.device_id)
    if terms.counts_from == "anchored" and all(anchor.anchor_on != done.day for anchor in anchors):
        return False
    if is_counted_from(facts, due, done):
        return False
    since = last_before(facts, due.device_id, due.procedure_id, done)
    return 2 * (done.day - since) >= one_interval(since, terms) - since


def is_counted_from(facts: Facts, due: Any, done: Done) -> bool:
    """Whole intervals after the inspection, it is the next one and not the one that was done early."""
    return bool(due.due_on >= one_interval(done.day, terms_on(facts, due.plan_id, done.day)))


def last_before(facts: Facts, device: int, procedure: int, done: Done) -> dt.date:
    """The day from which the interval runs that is being cut short."""
    days: list[dt.date] = []
    for other in facts.done[device]:
        if other == done:
            break
        if procedure in other.does or other.kind == "incoming":
            days.append(other.day)
    for carried in facts.of(models.CarriedOver, device_id=device, procedure_id=procedure):
        if carried.performed_on <= done.day:
            days.append(carried.performed_on)
    if days:
        return max(days)
    known_from: dt.date = facts.of(models.DeviceOrigin, device_id=device)[-1].known_from_on
    return known_from


def one_interval(day: dt.date, terms: Any) -> dt.date:
    if terms.unit in ("day", "week"):
        return day + dt.timedelta(days=terms.every * (7 if terms.unit == "week" else 1))
    months = day.year * 12 + day.month - 1 + terms.every * (12 if terms.unit == "year" else 1)
    year, month = divmod(months, 12)
    return dt.date(year, month + 1, min(day.day, calendar.monthrange(year, month + 1)[1]))
