"""Who is to do which inspection: given to a person on a day and half, or taken off again, several at once.

All is checked and written under the lock, in one transaction with one entry for each device, or nothing is written.
"""

import datetime as dt
from collections import defaultdict
from collections.abc import Collection, Mapping, Sequence
from dataclasses import dataclass
from enum import StrEnum

from pmcore.engines.records import Actor
from pmcore.engines.site_days import earliest_day
from pmcore.engines.vocabulary import DueState, Half, Role
from pmcore.engines.working_days import is_working_day
from pmcore.models import Assignment, DueInspection, RoleHeld, SiteMembership
from pmcore.models.rows import Row
from pmcore.queries.assigned import names_of
from pmcore.queries.columns import BadValue
from pmcore.queries.due_list import TO_DO, DueItem, GivenTo, due_items
from pmcore.queries.head import head
from pmcore.queries.site_days import Zones, working_calendar
from pmcore.queries.sites import sites_on
from pmcore.services.append import Draft, append_many
from pmcore.services.lock import writing
from pmcore.services.permissions import check_role
from pmcore.services.refusals import RecordRefused, TooMuchAtOnce, UnknownReference, WrongSite
from pmcore.services.requests import Receipt, Request, answered

KIND = "inspection_assigned"
MOST_AT_ONCE = 500  # with whoever is relieved, they fit into one transaction
_HANDS = {Role.TECHNICIAN, Role.PROVIDER}


class NotToBeDone(RecordRefused):
    """It was met, withdrawn, suspended, has ended or can no longer be made up for: there is nothing to give out."""


class NotForThisPerson(RecordRefused):
    """The person is neither technician nor provider on that day, or acts at another site."""


class DayIsOver(RecordRefused):
    """Work is given out for today or later."""


class ChangedMeanwhile(RecordRefused):
    """Somebody else gave it out, or took it off, after the list was looked at."""


class CautionCode(StrEnum):
    AFTER_CLOSE = "after_the_close"
    BEFORE_OPENING = "before_the_window_opens"
    NO_WORKING_DAY = "no_working_day"


@dataclass(frozen=True, slots=True)
class AssignmentCaution:
    """It stands, but look at it again. `day`: the close, the opening, or the day that is none to work on."""

    due_inspection: int
    code: CautionCode
    day: dt.date


@dataclass(frozen=True, slots=True)
class AssignmentMade:
    """`receipts`: one for each device whose inspections changed hands (of a retry, the first one); none where all was
    so before. `cautions` in order of due inspections."""

    receipts: tuple[Receipt, ...]
    cautions: tuple[AssignmentCaution, ...] = ()


@dataclass(frozen=True, slots=True)
class _Wish:
    person: int
    on: dt.date
    half: Half | None
    beside: bool
    from_on: dt.date

    def rows(self, item: DueItem) -> list[Row]:
        others = [] if self.beside else [each for each in item.assigned if each.person != self.person]
        rows = [_off(item, each, self.from_on) for each in others]
        asked = (self.person, self.on, self.half)
        if not any((each.person, each.on, each.half) == asked for each in item.assigned):
            values = {"person": self.person, "from_on": self.from_on, "on": self.on, "half": self.half}
            rows.append(Row(Assignment, due_inspection=item.due_inspection, assigned=True, **values))
        return rows


def assign_inspections(
    *,
    due_inspections: Sequence[int],
    person: int,
    on: dt.date,
    half: Half | None,
    actor: Actor,
    at: dt.datetime,
    beside: bool = False,
    seen: int | None = None,
    request: Request | None = None,
) -> AssignmentMade:
    """Give them to a person on a day, in the morning, the afternoon or (None) at any time of it; whoever had them
    before is relieved, unless the work is to be done `beside` them. `seen`: the size of the history in which the actor
    saw who had them.

    Raises NotAllowed, UnknownReference, WrongSite, NotToBeDone, NotForThisPerson, DayIsOver, ChangedMeanwhile,
    RequestReused, TooMuchAtOnce, BadValue. Nothing is written then.
    """
    check_role(actor, "give out an inspection")
    with writing():
        earlier = answered(actor, request, KIND)
        known = head().size
        items = _items(due_inspections, actor, at, known)
        cautions = _cautions(items, on, known)
        if earlier is not None:
            return AssignmentMade((earlier,), cautions)
        for item in items:
            _check_to_do(item)
            _check_day(item, on, at, known)
        _check_person(person, on, {item.site for item in items})
        _check_unchanged(items, seen, known)
        wish = _Wish(person, on, half, beside, _from_on(at))
        rows = {item: wish.rows(item) for item in items}
        return AssignmentMade(_append(rows, actor, at, request), cautions)


def take_off(
    *,
    due_inspections: Sequence[int],
    actor: Actor,
    at: dt.datetime,
    person: int | None = None,
    seen: int | None = None,
    request: Request | None = None,
) -> AssignmentMade:
    """Nobody is to do them any more; with `person`, this one is not. Raises NotAllowed, UnknownReference, WrongSite,
    ChangedMeanwhile, RequestReused, TooMuchAtOnce, BadValue."""
    check_role(actor, "give out an inspection")
    with writing():
        if (earlier := answered(actor, request, KIND)) is not None:
            return AssignmentMade((earlier,))
        items = _items(due_inspections, actor, at, head().size)
        _check_unchanged(items, seen, head().size)
        from_on = _from_on(at)
        rows = {
            item: [_off(item, each, from_on) for each in item.assigned if person in (None, each.person)]
            for item in items
        }
        return AssignmentMade(_append(rows, actor, at, request))


def _from_on(at: dt.datetime) -> dt.date:
    """A day that has come at every site: each can ask for it at once."""
    return earliest_day(at, [site.time_zone for site in sites_on(at.date())])


def _items(dues: Sequence[int], actor: Actor, at: dt.datetime, known: int) -> list[DueItem]:
    """In the order in which they were named."""
    if not dues:
        raise BadValue("assignment", "due_inspections", "at least one is wanted")
    wanted = list(dict.fromkeys(dues))
    if len(wanted) > MOST_AT_ONCE:
        raise TooMuchAtOnce(f"At most {MOST_AT_ONCE} inspections change hands at once, not {len(wanted)}.")
    there = DueInspection.objects.filter(pk__among=wanted).values_list("pk", flat=True)
    if missing := set(wanted) - set(there):
        raise UnknownReference("due_inspection", sorted(missing))
    found = {item.due_inspection: item for item in due_items(wanted, as_of=_from_on(at), known=known, actor=actor)}
    if hidden := [due for due in wanted if due not in found]:
        raise WrongSite(f"The due inspection {hidden[0]} is of a site of which you are no member.")
    return [found[due] for due in wanted]


def _check_to_do(item: DueItem) -> None:
    if item.state not in TO_DO:
        raise NotToBeDone(f"{item.device}: {item.plan_name}, due {item.due_on}, is {item.state.replace('_', ' ')}.")


def _check_day(item: DueItem, on: dt.date, at: dt.datetime, known: int) -> None:
    today = Zones(known).day_at(item.site, at) or at.date()
    if on < today:
        raise DayIsOver(f"{on} is over; today is {today}.")


def _check_person(person: int, on: dt.date, sites: Collection[int]) -> None:
    role = RoleHeld.objects.current().on(on).filter(person=person).values_list("role", flat=True).first()
    if role not in _HANDS:
        raise NotForThisPerson(f"The person {person} is neither technician nor provider on {on}.")
    memberships = SiteMembership.objects.current().on(on).filter(person=person, member=True)
    if outside := set(sites) - set(memberships.values_list("site_id", flat=True)):
        labels = {site.site: site.name for site in sites_on(on)}
        name = names_of([person], head().size).get(person, f"The person {person}")
        raise NotForThisPerson(f"{name} does not work at {', '.join(labels.get(s, str(s)) for s in sorted(outside))}.")


def _check_unchanged(items: Sequence[DueItem], seen: int | None, known: int) -> None:
    """Nobody gave them out or took them off since they were looked at."""
    if seen is None or seen >= known:
        return
    dues = [item.due_inspection for item in items]
    later = Assignment.objects.filter(due_inspection__among=dues, entry__gt=seen).order_by("id")
    changed = later.values_list("due_inspection_id", flat=True).first()
    if changed is not None:
        item = next(each for each in items if each.due_inspection == changed)
        who = ", ".join(each.name for each in item.assigned) or "nobody"
        raise ChangedMeanwhile(f"{item.device} changed hands since you looked: it is given to {who} now. Look again.")


def _off(item: DueItem, each: GivenTo, from_on: dt.date) -> Row:
    return Row(Assignment, due_inspection=item.due_inspection, person=each.person, from_on=from_on, assigned=False)


def _append(
    rows: Mapping[DueItem, list[Row]], actor: Actor, at: dt.datetime, request: Request | None
) -> tuple[Receipt, ...]:
    by_device: dict[int, list[Row]] = defaultdict(list)
    for item, of_item in rows.items():
        if of_item:
            by_device[item.device.device] += of_item
    drafts = [Draft(KIND, device, of_device) for device, of_device in by_device.items()]
    return tuple(append_many(drafts, actor=actor, at=at, request=request)) if drafts else ()


def _cautions(items: Sequence[DueItem], on: dt.date, known: int) -> tuple[AssignmentCaution, ...]:
    calendars = {site: working_calendar(site, on, known) for site in {item.site for item in items}}
    found = []
    for item in items:
        calendar = calendars[item.site]
        if on > item.closes_on and item.state is not DueState.OVERDUE:  # else any day is late
            found.append(AssignmentCaution(item.due_inspection, CautionCode.AFTER_CLOSE, item.closes_on))
        if on < item.opens_on:
            found.append(AssignmentCaution(item.due_inspection, CautionCode.BEFORE_OPENING, item.opens_on))
        if not is_working_day(on, calendar.weekend, calendar.holidays):
            found.append(AssignmentCaution(item.due_inspection, CautionCode.NO_WORKING_DAY, on))
    return tuple(found)
