"""How often was something tried in vain, and does that stand as a reason?"""

import datetime as dt
from collections import defaultdict

from pmcore.engines.attempts import reason_stands_from
from pmcore.engines.records import Attempt as Tried
from pmcore.engines.vocabulary import AttemptOutcome
from pmcore.models import Attempt, DueInspection, Entry, Withdrawal
from pmcore.queries.figure_settings import FigureSettings
from pmcore.queries.inspections import completed
from pmcore.queries.site_days import WorkingCalendar, Zones, site_on, working_calendar


def attempts_stand_from(
    due: DueInspection,
    outcome: AttemptOutcome,
    until: dt.date,
    site: int | None,
    known: int,
    *,
    days_needed: int | None = None,
) -> dt.date | None:
    """The day on which the attempts with that outcome, made by `until` on so many days (None: what the setting says),
    stood as a reason for not doing it; None: they do not suffice."""
    settings = FigureSettings(known)
    rows = Attempt.objects.known(known).filter(due_inspection=due.pk, outcome=outcome, tried_on__lte=until)
    tried = [
        Tried(tried_on, recorded_on(entry, site, known)) for tried_on, entry in rows.values_list("tried_on", "entry")
    ]
    calendar = WorkingCalendar.usual() if site is None else working_calendar(site, due.closes_on, known)
    return reason_stands_from(
        tried,
        due.opens_on,
        due.closes_on,
        weekend=calendar.weekend,
        holidays=calendar.holidays,
        days_needed=settings.on("search_days", due.closes_on) if days_needed is None else days_needed,
        working_days_to_record=settings.on("search_record_working_days", due.closes_on),
    )


def searches_of(device: int, before: dt.date, known: int) -> list[list[dt.date | None]]:
    """Of each plan: for the windows that closed before the day, oldest first, since when it stood that the device could
    not be found. A window in which it was inspected after all was not searched in vain."""
    withdrawn = Withdrawal.objects.known(known).on(before).filter(withdrawn=True).values("due_inspection")
    closed = DueInspection.objects.known(known).filter(device=device, closes_on__lt=before).exclude(pk__in=withdrawn)
    inspected = [done.performed_on for done in completed([device], known)]
    found: dict[int, list[dt.date | None]] = defaultdict(list)
    for due in closed.order_by("closes_on", "pk"):
        seen = any(due.opens_on <= day <= due.closes_on for day in inspected)
        site = site_on(device, due.due_on, known)
        stands = attempts_stand_from(due, AttemptOutcome.NOT_FOUND, due.closes_on, site, known)
        found[due.plan_id].append(None if seen else stands)
    return list(found.values())


def recorded_on(entry: int, site: int | None, known: int) -> dt.date:
    """The site's day of an entry; UTC's where nobody says which zone that is."""
    at = Entry.objects.get(seq=entry).at
    return (None if site is None else Zones(known).day_at(site, at)) or at.date()
