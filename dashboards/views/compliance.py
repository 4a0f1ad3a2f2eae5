"""Compliance: the page, its rows, the report for the committee, and why the figure changed."""

import datetime as dt
from collections.abc import Iterator
from typing import Any
from urllib.parse import urlencode

from django.http import HttpRequest, HttpResponse, HttpResponseBase, QueryDict
from django.shortcuts import render

from dashboards import figures
from dashboards.access import asking, page
from dashboards.compliance_asking import (
    MONTHS_SHOWN,
    Answer,
    Question,
    answer,
    changed,
    given,
    last_month,
    question,
    rows,
    status_of,
)
from dashboards.compliance_lists import lists_of
from dashboards.compliance_words import (
    closed_in_words,
    headline,
    miss_in_words,
    note_over_last_month,
    period_in_words,
    quiet_line,
    why,
)
from dashboards.csv_rows import csv_response
from dashboards.kept_pages import may_be_kept
from dashboards.words import in_words, month_in_words, words_of
from pmcore.engines.vocabulary import Grouping, PlanBasis, RiskClass
from pmcore.queries.compliance_asked import BadParameters
from pmcore.queries.compliance_rows import DueRow
from pmcore.queries.head import size_before

_MONTHS_OFFERED = 36
_FILTERED_BY = {
    Grouping.SITE: "site",
    Grouping.AREA: "area",
    Grouping.DEVICE_CLASS: "device_class",
    Grouping.RISK_CLASS: "risk_class",
    Grouping.BASIS: "basis",
    Grouping.MONTH: "period",
}


@page("compliance")
def show(request: HttpRequest) -> HttpResponse:
    try:
        asked = question(request)
        found = answer(asked, asking(request))
    except BadParameters as bad:
        return _refused(request, bad)
    page_now = render(request, "dashboards/compliance.html", _context(request, asked, found))
    return may_be_kept(page_now, request, asked.size)


@page("compliance")
def report(request: HttpRequest) -> HttpResponse:
    """One page for the committee, made for paper."""
    try:
        asked = question(request)
        found = answer(asked, asking(request))
    except BadParameters as bad:
        return _refused(request, bad)
    context = _context(request, asked, found) | {"written_at": asking(request).at}
    return render(request, "dashboards/compliance_report.html", context)


@page("compliance")
def rows_as_csv(request: HttpRequest) -> HttpResponseBase:
    """A line for each due inspection that the figure counts."""
    try:
        asked = question(request)
        found = rows(asked, asking(request))
    except BadParameters as bad:
        return _refused(request, bad)
    name = f"due-inspections-{asked.filter.starts_on}-to-{asked.filter.ends_on}-as-of-{asked.as_of}.csv"
    return csv_response(name, _HEADING, (_cells(row) for row in found))


@page("compliance")
def changes(request: HttpRequest) -> HttpResponse:
    """Which entries made the figure another than the one reported when the record had `since` entries."""
    try:
        asked = question(request)
        found = changed(asked, asking(request))
    except BadParameters as bad:
        return _refused(request, bad)
    context = {
        "asked": asked,
        "period": closed_in_words(asked.filter),
        "changes": found,
        "unexplained": sum(each.entries is None for each in found),
        "how_many": in_words(len(found)).capitalize(),
        "back": _address(request.GET, since=None),
        "form": _form(request, {}),
    }
    return render(request, "dashboards/compliance_changes.html", context)


def _refused(request: HttpRequest, bad: BadParameters) -> HttpResponse:
    form = _form(request, bad.errors)
    others = [text for name, text in bad.errors.items() if name not in form["shown"]]
    context = {"form": form, "others": others}
    return render(request, "dashboards/compliance_refused.html", context, status=status_of(bad))


def _context(request: HttpRequest, asked: Question, found: Answer) -> dict[str, Any]:
    names = {site.site: site.name for site in asking(request).sites}
    shown = found.months[-MONTHS_SHOWN:]
    reported_on = asked.filter.ends_on + dt.timedelta(days=1)
    grave = {each.due_inspection for each in found.report.lists.high_risk_misses}
    told = [(row, miss_in_words(row, found.evidence.get(row.due_inspection))) for row in found.misses]
    return {
        "asked": asked,
        "report": found.report,
        "period": period_in_words(asked.filter),
        "quiet": quiet_line(asked),
        "headline": headline(found),
        "why": " ".join(why(found, names)),
        "picture": figures.misses_by_month(shown, note_over_last_month(found, names)),
        "months": [(month_in_words(each.begins_on), each.tally) for each in shown],
        "grave": [(row, words) for row, words in told if row.due_inspection in grave],
        "misses": told,
        "groups": [(group, _narrower(request.GET, asked.group_by, group.key)) for group in found.report.groups],
        "grouped_by": words_of(asked.group_by),
        "lists": list(lists_of(found)),
        "form": _form(request, {}),
        "reported_on": reported_on if reported_on <= asked.as_of else None,
        "reported_size": size_before(reported_on, asked.known) if reported_on <= asked.as_of else None,
        "query": request.GET.urlencode(),
    }


def _narrower(query: QueryDict, group_by: Grouping, key: int | str) -> str:
    """The address of this figure for one group alone."""
    if key == 0:
        return ""
    return _address(query, **{_FILTERED_BY[group_by]: str(key), "group_by": None} | _drops(group_by))


def _drops(group_by: Grouping) -> dict[str, None]:
    return {"from": None, "to": None} if group_by is Grouping.MONTH else {}


def _address(query: QueryDict, **changes: str | None) -> str:
    kept = {name: values for name, values in given(query).items() if name not in changes}
    said = {name: [value] for name, value in changes.items() if value is not None}
    return "?" + urlencode(kept | said, doseq=True)


def _form(request: HttpRequest, errors: dict[str, str]) -> dict[str, Any]:
    """The filters, with what was chosen and what is wrong with it."""
    asked, found = given(request.GET), asking(request)
    by_days = bool({"from", "to"} & asked.keys())
    chosen = {name: values[0] for name, values in asked.items()}
    if not by_days:
        chosen.setdefault("period", f"{last_month(found)[0]:%Y-%m}")
    chosen.setdefault("as_of", found.today.isoformat())
    return {
        "chosen": chosen,
        "by_days": by_days,
        "months": [(f"{month:%Y-%m}", month_in_words(month)) for month in _months_before(found.today)],
        "sites": [(str(site.site), site.name) for site in found.sites],
        "risk_classes": [(str(word), words_of(word)) for word in RiskClass],
        "bases": [(str(word), words_of(word)) for word in PlanBasis],
        "groupings": [(str(word), words_of(word)) for word in Grouping],
        "errors": errors,
        "shown": {"period", "from", "to", "site", "risk_class", "basis", "as_of", "group_by", "known", "since"},
        "kept": [(name, value) for name in ("area", "device_class", "known") for value in asked.get(name, ())],
    }


def _months_before(today: dt.date) -> Iterator[dt.date]:
    month = today.replace(day=1)
    for _ in range(_MONTHS_OFFERED):
        yield month
        month = (month - dt.timedelta(days=1)).replace(day=1)


_HEADING = (
    "due inspection", "tag", "serial number", "maker", "model", "device class", "site", "area", "risk class", "plan",
    "basis", "opens on", "due on", "closes on", "counts as", "done on", "entered on",
)  # fmt: skip


def _cells(row: DueRow) -> tuple[object, ...]:
    label = row.device
    return (
        row.due_inspection, label.tag, label.serial, label.maker, label.model, row.device_class, row.site, row.area,
        words_of(row.risk_class), row.plan, words_of(row.basis), row.opens_on, row.due_on, row.closes_on,
        words_of(row.counted), row.completed_on, row.recorded_on,
    )  # fmt: skip
