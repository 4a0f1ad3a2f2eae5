"""The fault reports that nobody has answered, for those who answer them."""

from django.http import HttpRequest, HttpResponse
from django.shortcuts import render

from dashboards import fault_words as say
from dashboards.access import Asking, asking, page
from dashboards.compliance_asking import given
from pmcore.queries.device_faults import open_fault_reports
from pmcore.queries.fault_pages import FaultReportListed
from pmcore.queries.head import head
from pmcore.queries.pages import Page
from pmcore.queries.parameters import BadParameters, Parameters, a_number

_SHOWN = 50
_FIRST = 5


@page("reported")
def show(request: HttpRequest) -> HttpResponse:
    """The oldest first, fifty at a time."""
    found, known = asking(request), head().size
    reader = Parameters(given(request.GET), ("after",))
    after = reader.one("after", a_number)
    try:
        reader.refuse()
    except BadParameters as bad:
        refused = {"headline": "The list cannot be shown as it was asked for.", "wrong": bad.errors.values()}
        return render(request, "dashboards/reported.html", refused, status=400)
    listed = open_fault_reports(
        None, as_of=found.today, known=known, actor=found.actor, after=after, limit=_SHOWN
    )  # fmt: skip
    context = {
        "headline": _headline(listed),
        "reports": told(listed),
        "after": after,
        "next": listed.after,
        "known": known,
    }
    return render(request, "dashboards/reported.html", context)


def first_reported(found: Asking, site: int | None, known: int) -> dict[str, object]:
    """For the head of a page: the oldest, and whether there are more."""
    sites = None if site is None else frozenset({site})
    listed = open_fault_reports(sites, as_of=found.today, known=known, actor=found.actor, limit=_FIRST)
    return {"headline": _headline(listed), "reports": told(listed), "more": listed.after is not None}


def told(listed: Page[FaultReportListed]) -> list[tuple[FaultReportListed, str, str]]:
    return [(each, *say.report_listed(each)) for each in listed.records]


def _headline(listed: Page[FaultReportListed]) -> str:
    grave = sum(each.could_harm for each in listed.records)
    return say.reported_headline(len(listed.records), grave, more=listed.after is not None)
