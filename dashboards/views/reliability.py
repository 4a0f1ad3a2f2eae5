"""Reliability: the page, and the lines that its figures are computed from."""

from typing import Any
from urllib.parse import urlencode

from django.http import HttpRequest, HttpResponse, HttpResponseBase, QueryDict
from django.shortcuts import render

from dashboards import figures
from dashboards.access import asking, page
from dashboards.compliance_asking import given
from dashboards.csv_rows import csv_response
from dashboards.kept_pages import may_be_kept
from dashboards.reliability_asking import Question, answer, inputs, question
from dashboards.reliability_form import form_of
from dashboards.reliability_words import (
    comparison_in_words,
    headline,
    left_out_in_words,
    plain_years,
    quiet_line,
    second,
    told_of,
    what_is_counted,
)
from dashboards.words import words_of
from pmcore.engines.vocabulary import FailureKind, StandoutFamily
from pmcore.queries.parameters import BadParameters
from pmcore.queries.reliability import RateGroup
from pmcore.queries.reliability_page import ReliabilityPage
from pmcore.queries.reliability_rows import ExposureRow, FailureRow, Where
from pmcore.queries.reliability_standouts import Standout

_DRAWN = 30  # groups of a picture; the table has them all


@page("reliability")
def show(request: HttpRequest) -> HttpResponse:
    try:
        asked = question(request)
        found = answer(asked, asking(request))
    except BadParameters as bad:
        return _refused(request, bad)
    page_now = render(request, "dashboards/reliability.html", _context(request, asked, found))
    return may_be_kept(page_now, request, asked.size)


@page("reliability")
def failures_as_csv(request: HttpRequest) -> HttpResponseBase:
    """A line for each failure that the figures count."""
    try:
        asked = question(request)
        found = inputs(asked, asking(request))
    except BadParameters as bad:
        return _refused(request, bad)
    return csv_response(_name("failures", asked), _FAILURES, (_failure(row) for row in found.failures))


@page("reliability")
def exposure_as_csv(request: HttpRequest) -> HttpResponseBase:
    """A line for each device, revision and area: the days in service."""
    try:
        asked = question(request)
        found = inputs(asked, asking(request))
    except BadParameters as bad:
        return _refused(request, bad)
    return csv_response(_name("days-in-service", asked), _EXPOSURE, (_exposed(row) for row in found.exposure))


def _refused(request: HttpRequest, bad: BadParameters) -> HttpResponse:
    form = form_of(request, None, bad.errors)
    others = [text for name, text in bad.errors.items() if name not in form["shown"]]
    return render(request, "dashboards/reliability_refused.html", {"form": form, "others": others}, status=400)


def _context(request: HttpRequest, asked: Question, found: ReliabilityPage) -> dict[str, Any]:
    report = found.report
    compared = [] if found.comparison is None else [comparison_in_words(each) for each in found.comparison.comparisons]
    return {
        "asked": asked,
        "report": report,
        "screened": found.screened,
        "quiet": quiet_line(asked, found),
        "headline": headline(found),
        "second": second(found),
        "counted": what_is_counted(asked, found.names),
        "grouped_by": words_of(asked.group_by),
        "pictures": [_picture(report.groups, kind) for kind in sorted(asked.filter.kinds)],
        "more_often": [_told(each, found, request.GET) for each in found.screened.standouts if each.more_often],
        "less_often": [_told(each, found, request.GET) for each in found.screened.standouts if not each.more_often],
        "compared": compared,
        "left_out": left_out_in_words(found),
        "form": form_of(request, found.names, {}),
        "pair": [(str(group.key), group.label) for group in _each_once(report.groups)],
        "query": urlencode(given(request.GET), doseq=True),
    }


def _told(each: Standout, found: ReliabilityPage, query: QueryDict) -> dict[str, Any]:
    """A standout in words, what stands out beside it, and the address that shows its groups next to each other."""
    shown = {"subsystem": each.subsystem, "group_by": each.family, "device_class": each.device_class}
    if each.family is not StandoutFamily.MODEL:
        shown["device_model"] = each.device_model
    kept = {name: values for name, values in given(query).items() if name not in {*shown, "group", "reference"}}
    return {
        "said": told_of(each, found.names),
        "beside": [told_of(other, found.names) for other in each.beside],
        "address": "?" + urlencode({**kept, **shown}, doseq=True),
    }


def _picture(groups: tuple[RateGroup, ...], kind: FailureKind) -> dict[str, Any]:
    """What is drawn: groups in which something failed. `silent`: the names of the others."""
    mine = [group for group in groups if group.kind == kind]
    failed = [_dot(group) for group in mine if group.events and group.rate is not None]
    return {
        "kind": kind,
        "id": f"rates-{kind}",
        "drawn": figures.rate_dots(failed[:_DRAWN]) if failed else None,
        "more": max(0, len(failed) - _DRAWN),
        "silent": [group.label for group in mine if not group.events and group.rate is not None],
        "groups": mine,
    }


def _dot(group: RateGroup) -> figures.RateDot:
    """Of a group with exposure, which has all four estimates."""
    rate, lower, upper, shrunk = (value or 0.0 for value in (group.rate, group.lower, group.upper, group.shrunk))
    count = f"{group.events:,} in {plain_years(group.exposure_years)} years"
    name = group.label[:1].upper() + group.label[1:]
    return figures.RateDot(name, count, group.events, rate, lower, upper, shrunk)


def _each_once(groups: tuple[RateGroup, ...]) -> list[RateGroup]:
    """The groups in order of their names, whatever kinds of failure they are told for."""
    return sorted({group.key: group for group in groups}.values(), key=lambda group: group.label)


_WHERE = ("tag", "serial number", "maker", "model", "device class", "revision", "site", "area")
_FAILURES = ("finding", "discovered on", "subsystem", "kind", *_WHERE)
_EXPOSURE = (*_WHERE, "first day", "days in service", "device-years")


def _name(what: str, asked: Question) -> str:
    return f"{what}-as-of-{asked.as_of}-record-size-{asked.known}.csv"


def _where(where: Where) -> tuple[object, ...]:
    label = where.device
    return (
        label.tag, label.serial, label.maker, label.model, where.device_class, where.revision, where.site, where.area,
    )  # fmt: skip


def _failure(row: FailureRow) -> tuple[object, ...]:
    return row.finding, row.discovered_on, words_of(row.subsystem), words_of(row.kind), *_where(row.where)


def _exposed(row: ExposureRow) -> tuple[object, ...]:
    return *_where(row.where), row.first_on, row.days, f"{row.years:.4f}"
