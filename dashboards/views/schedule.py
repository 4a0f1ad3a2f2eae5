"""Schedule: what is due, who is to do it, and how much each person has."""

import datetime as dt
from collections.abc import Iterable
from itertools import groupby
from typing import Any
from urllib.parse import urlencode

from django.contrib import messages
from django.core.exceptions import PermissionDenied
from django.http import Http404, HttpRequest, HttpResponse, HttpResponseBase, QueryDict
from django.shortcuts import redirect, render

from dashboards import schedule_words as say
from dashboards.access import Asking, asking, page
from dashboards.compliance_asking import given, status_of
from dashboards.csv_rows import csv_response
from dashboards.giving_out import GivenOut, GivingOut, NotGivenOut, form_of, give_out
from dashboards.schedule_asking import Schedule, ScheduleAsked, every_row, schedule, schedule_asked, week_to_plan
from dashboards.typed import SAID, typed_before
from dashboards.words import day_in_words, words_of
from pmcore.engines.vocabulary import DueState, Half, RiskClass
from pmcore.queries.due_asked import NOBODY, key_text, week_of
from pmcore.queries.due_list import DueFilter, DueItem, due_items, due_page
from pmcore.queries.head import head
from pmcore.queries.parameters import BadParameters, Parameters, a_day
from pmcore.queries.place_choices import place_choices
from pmcore.queries.workload import PersonLoad, hands_at, workload
from pmcore.services.permissions import MAY

_WEEK = 7
_IN_THE_FORM = ("week", "site", "area", "device_class", "risk_class", "state", "given_to", "words", "by")
_NOT_KEPT = ("after", "tick", "known")
_DAYS_KEPT = ("closes_from", "closes_to", "opens_from", "opens_to")


@page("schedule")
def show(request: HttpRequest) -> HttpResponse:
    sent, status = typed_before(request), 200
    form = GivingOut() if sent is None else form_of(sent, {"due": SAID})
    try:
        if request.method == "POST":
            try:
                return _given_out(request, give_out(_posted(request), asking(request)))
            except NotGivenOut as refused:
                form, status = refused.form, 503 if refused.busy else 400
        asked = schedule_asked(request)
        found = schedule(asked, asking(request))
    except BadParameters as bad:
        return _refused(request, bad)
    return render(request, "dashboards/schedule.html", _context(request, asked, found, form), status=status)


@page("schedule")
def rows_as_csv(request: HttpRequest) -> HttpResponseBase:
    """A line for each due inspection that the page would list."""
    try:
        asked = schedule_asked(request)
        found = list(every_row(asked, asking(request)))
    except BadParameters as bad:
        return _refused(request, bad)
    name = f"due-inspections-closing-by-{asked.filter.closes_to or 'any-day'}-as-of-{asking(request).today}.csv"
    return csv_response(name, _HEADING, map(_cells, found))


@page("schedule")
def week_of_person(request: HttpRequest, person: int) -> HttpResponse:
    """A person's week, made for paper."""
    found = asking(request)
    reader = Parameters(given(request.GET), ("week",))
    try:
        any_day = reader.one("week", a_day) or week_to_plan(found.today)
        reader.refuse()
    except BadParameters as bad:
        return _refused(request, bad)
    monday, sunday = week_of(any_day)
    known = head().size
    loads = workload(None, monday, sunday, as_of=found.today, known=known, actor=found.actor)
    load = next((each for each in loads if each.person == person), None)
    if load is None:
        raise Http404
    own = due_page(DueFilter(assigned_to=person), as_of=found.today, known=known, actor=found.actor, limit=2_000)
    context = {
        "load": load,
        "monday": monday,
        "sunday": sunday,
        "days": list(_days_of(own.rows, person, monday)),
        "headline": _week_headline(load, monday),
        "quiet": [f"as of {day_in_words(found.today)}", f"record size {known:,}"],
        "before": (monday - dt.timedelta(days=_WEEK)).isoformat(),
        "after": (monday + dt.timedelta(days=_WEEK)).isoformat(),
    }
    return render(request, "dashboards/schedule_person.html", context)


def _posted(request: HttpRequest) -> QueryDict:
    if not _may_give(asking(request)):
        raise PermissionDenied("Inspections are given out by schedulers and managers.")
    return request.POST


def _may_give(found: Asking) -> bool:
    return found.actor.role in MAY["give out an inspection"]


def _given_out(request: HttpRequest, done: GivenOut) -> HttpResponse:
    """Back to the list, with what happened and what follows from it."""
    found = asking(request)
    known = head().size
    changed = len(done.dues) if done.made.receipts else 0
    if done.person is None or done.on is None:
        messages.success(request, say.taken_off_in_words(changed))
    else:
        load = _load(done.person, done.on, found, known)
        name = load.name if load else "somebody"
        said = say.given_in_words(changed, name, done.on, done.half) if changed else say.already_in_words(name)
        items = due_items(done.dues, as_of=found.today, known=known, actor=found.actor)
        follows = [say.load_in_words(load, done.on)] if load else []
        messages.success(request, " ".join([said, *follows, *say.cautions_in_words(done.made.cautions, items)]).strip())
    return redirect(f"{request.path}?{_kept(request.GET)}")


def _load(person: int, on: dt.date, found: Asking, known: int) -> PersonLoad | None:
    loads = workload(None, on, on, as_of=found.today, known=known, actor=found.actor)
    return next((each for each in loads if each.person == person), None)


def _refused(request: HttpRequest, bad: BadParameters) -> HttpResponse:
    others = [text for name, text in bad.errors.items() if name not in _IN_THE_FORM]
    context = {"form": _filters(request, bad.errors), "others": others}
    return render(request, "dashboards/schedule_refused.html", context, status=status_of(bad))


def _context(request: HttpRequest, asked: ScheduleAsked, found: Schedule, form: GivingOut) -> dict[str, Any]:
    rows, who = found.page.rows, asking(request)
    sunday = asked.sunday if asked.filter.closes_to == asked.sunday else None
    days = [asked.monday + dt.timedelta(days=number) for number in range(_WEEK)]
    following = found.page.next_after
    return {
        "asked": asked,
        "page_of_rows": found.page,
        "quiet": _quiet(asked, who),
        "headline": say.headline(found.page, sunday),
        "why": say.why(found.page, found.loads),
        "groups": [(head, list(each)) for head, each in _groups(rows, asked.by)],
        "rows_shown": len(rows),
        "days": days,
        "loads": [(load, [load.on(each) for each in days]) for load in found.loads],
        "form": _filters(request, {}),
        "giving": form,
        "ticked": {row.due_inspection for row in rows} if asked.ticked and not form.errors else form.ticked,
        "people": _people(found.loads, who),
        "halves": [(str(half), "Morning" if half is Half.AM else "Afternoon") for half in Half],
        "first_day": max(asked.monday, who.today).isoformat(),
        "today": who.today.isoformat(),
        "may_give": _may_give(who),
        "query": _kept(request.GET),
        "tick_all": _kept(request.GET, tick="all", after=request.GET.get("after", "")),
        "next_page": _kept(request.GET, after=key_text(following), known=str(asked.known)) if following else None,
    }


def _people(loads: Iterable[PersonLoad], who: Asking) -> list[tuple[str, str, str, int]]:
    """To choose from: id, name, the labels of their sites, and how much they have in the week."""
    labels = {site.site: site.label for site in who.sites}
    return [
        (str(load.person), load.name, " ".join(sorted(labels.get(site, "") for site in load.sites)), load.inspections)
        for load in loads
    ]


def _quiet(asked: ScheduleAsked, who: Asking) -> list[str]:
    week = f"Week of {day_in_words(asked.monday)} to {day_in_words(asked.sunday)}"
    return [week, f"as of {day_in_words(who.today)}", f"record size {asked.known:,}"]


def _groups(rows: Iterable[DueItem], by: str) -> Iterable[tuple[str, Iterable[DueItem]]]:
    if by == "site":
        return groupby(
            sorted(rows, key=lambda row: row.site_name), key=lambda row: row.site_name or "Site not recorded"
        )
    return groupby(rows, key=_closes)


def _closes(row: DueItem) -> str:
    if row.state is DueState.OVERDUE:
        return "Overdue: the window has closed"
    return f"Closes on {day_in_words(row.closes_on, weekday=True)}"


def _kept(query: QueryDict, **changes: str) -> str:
    kept: dict[str, Any] = {name: values for name, values in given(query).items() if name not in _NOT_KEPT}
    return urlencode(kept | {name: value for name, value in changes.items() if value}, doseq=True)


def _filters(request: HttpRequest, errors: dict[str, str]) -> dict[str, Any]:
    """The filters, with what was chosen and what is wrong with it."""
    found, asked = asking(request), given(request.GET)
    known = head().size
    choices = place_choices(as_of=found.today, known=known, actor=found.actor)
    people = hands_at(None, as_of=found.today, known=known, actor=found.actor)
    names = {site.site: site.name for site in found.sites}
    chosen = {name: values[0] for name, values in asked.items()}
    week = chosen.setdefault("week", week_of(week_to_plan(found.today))[0].isoformat())
    return {
        "chosen": chosen,
        "sites": [(str(site.site), site.name) for site in found.sites],
        "areas": [
            (names.get(site, ""), [(str(area), name) for area, name in areas])
            for site, areas in _areas(choices, chosen)
        ],
        "device_classes": [(str(key), name) for key, name in choices.device_classes],
        "risk_classes": [(str(word), words_of(word)) for word in RiskClass],
        "states": [(str(word), words_of(word)) for word in DueState],
        "given_to": [(NOBODY, "nobody"), *((str(person), name) for person, name in people)],
        "groupings": [("site", "site")],
        "errors": errors,
        "kept": [(name, value) for name in _DAYS_KEPT for value in asked.get(name, ())],
        **_weeks(request, week),
    }


def _areas(choices: Any, chosen: dict[str, str]) -> list[tuple[int, Any]]:
    wanted = chosen.get("site")
    return [(site, areas) for site, areas in choices.areas.items() if wanted in (None, str(site))]


def _weeks(request: HttpRequest, week: str) -> dict[str, str]:
    """The weeks before and after; none where what was typed is no day."""
    try:
        monday = week_of(a_day(week))[0]
        before, after = monday - dt.timedelta(days=_WEEK), monday + dt.timedelta(days=_WEEK)
    except (ValueError, OverflowError):
        return {}
    return {
        "week_before": _kept(request.GET, week=before.isoformat()),
        "week_after": _kept(request.GET, week=after.isoformat()),
    }


def _days_of(
    rows: Iterable[DueItem], person: int, monday: dt.date
) -> Iterable[tuple[dt.date, list[tuple[str, DueItem]]]]:
    """Of each day of the week its inspections, morning first."""
    found: dict[dt.date, list[tuple[str, str, DueItem]]] = {}
    for row in rows:
        for each in row.assigned:
            if each.person == person and each.on is not None:
                half = "Morning" if each.half is Half.AM else "Afternoon" if each.half is Half.PM else "Any time"
                found.setdefault(each.on, []).append((each.half or "", half, row))
    for number in range(_WEEK):
        on = monday + dt.timedelta(days=number)
        work = sorted(found.get(on, ()), key=lambda each: (each[0], each[2].site_name, each[2].area_name))
        yield on, [(half, row) for _, half, row in work]


def _week_headline(load: PersonLoad, monday: dt.date) -> str:
    count = load.inspections
    if count == 0:
        return f"{load.name} has nothing in the week of {day_in_words(monday)}."
    return f"{load.name} has {count:,} inspection{'' if count == 1 else 's'} in the week of {day_in_words(monday)}."


_HEADING = (
    "due inspection", "tag", "serial number", "maker", "model", "device class", "site", "area", "risk class", "plan",
    "procedure", "opens on", "due on", "closes on", "state", "done on", "given to",
    "attempts in vain", "last attempt on", "last attempt", "reason not done", "reason from",
)  # fmt: skip


def _cells(row: DueItem) -> tuple[object, ...]:
    label = row.device
    who = say.who_in_words(row.assigned)
    return (
        row.due_inspection, label.tag, label.serial, label.maker, label.model, row.device_class_name, row.site_name,
        row.area_name, words_of(row.risk_class), row.plan_name, row.procedure_name, row.opens_on, row.due_on,
        row.closes_on, words_of(row.state), row.completed_on, who, row.attempts, row.tried_on,
        words_of(row.tried_outcome or ""), words_of(row.reason or ""), row.reason_on,
    )  # fmt: skip
