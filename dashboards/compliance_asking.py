"""From the address of a compliance page to its answer: one question, one set of queries, remembered."""

import datetime as dt
from dataclasses import dataclass

from django.http import HttpRequest, QueryDict

from dashboards.access import Asking, asking
from dashboards.remembered import remembered
from pmcore.engines.vocabulary import Grouping
from pmcore.queries.asked import AskedRefused, AsOfAhead, KnownBeyond, OutsideYourSites
from pmcore.queries.compliance import ComplianceFilter
from pmcore.queries.compliance_asked import BadParameters, parse
from pmcore.queries.compliance_page import CompliancePage, compliance_page
from pmcore.queries.compliance_rows import DueRow, compliance_rows
from pmcore.queries.figure_changes import TRIED_AT_ONCE, FigureChange, figure_changes
from pmcore.queries.head import head

MONTHS_SHOWN = 12
_EXPLAINED = 40  # devices
_FIELD = {AsOfAhead: "as_of", KnownBeyond: "known", OutsideYourSites: "site"}


@dataclass(frozen=True, slots=True)
class Question:
    """`known`: how many entries count; `size`: how many there are."""

    filter: ComplianceFilter
    as_of: dt.date
    known: int
    group_by: Grouping
    since: int | None
    size: int


Answer = CompliancePage


def given(query: QueryDict) -> dict[str, list[str]]:
    """What a form leaves empty was not asked for."""
    return {name: filled for name, values in query.lists() if (filled := [value for value in values if value])}


def question(request: HttpRequest) -> Question:
    """What the address asks; the last month that is over, by site, where it says nothing. Raises BadParameters."""
    today = asking(request).today
    asked = parse(given(request.GET), period=last_month(asking(request)))
    size = head().size
    known = size if asked.known is None else asked.known
    return Question(asked.filter, asked.as_of or today, known, asked.group_by or Grouping.SITE, asked.since, size)


def last_month(found: Asking) -> tuple[dt.date, dt.date]:
    """The newest month all of whose windows have closed."""
    ends_on = found.today.replace(day=1) - dt.timedelta(days=1)
    return ends_on.replace(day=1), ends_on


def answer(asked: Question, found: Asking) -> Answer:
    """Raises BadParameters: what the queries refuse stands beside its field too."""
    key = ("compliance", asked.filter, asked.as_of, asked.known, asked.group_by, found.actor.sites)
    try:
        return remembered(key, lambda: _answer(asked, found))
    except tuple(_FIELD) as refused:
        raise BadParameters({_FIELD[type(refused)]: str(refused)}) from refused


def _answer(asked: Question, found: Asking) -> Answer:
    # The picture's months, and before them as many as the period has, so that it can be said how the figure moved.
    months = MONTHS_SHOWN + months_in(asked.filter)
    return compliance_page(
        asked.filter, months=months, as_of=asked.as_of, known=asked.known, today=found.today, actor=found.actor,
        group_by=asked.group_by,
    )  # fmt: skip


def months_in(asked: ComplianceFilter) -> int:
    """How many months the period touches."""
    first, last = asked.starts_on, asked.ends_on
    return 12 * (last.year - first.year) + last.month - first.month + 1


def changed(asked: Question, found: Asking) -> list[FigureChange]:
    """What counts otherwise than at the size `since`. Raises BadParameters."""
    if asked.since is None:
        raise BadParameters({"since": "Say the record size that is printed on the earlier report."})
    try:
        return figure_changes(
            asked.filter, as_of=asked.as_of, known=asked.known, before=min(asked.since, asked.known),
            today=found.today, actor=found.actor, explained=_EXPLAINED, tried=TRIED_AT_ONCE,
        )  # fmt: skip
    except tuple(_FIELD) as refused:
        raise BadParameters({_FIELD[type(refused)]: str(refused)}) from refused


def status_of(bad: BadParameters) -> int:
    """Of the page that says so: what is another site's is not yours to see, as the interface answers too."""
    return 403 if isinstance(bad.__cause__, OutsideYourSites) else 400


def rows(asked: Question, found: Asking) -> list[DueRow]:
    """Every line that the figure counts. Raises BadParameters."""
    try:
        return compliance_rows(asked.filter, as_of=asked.as_of, known=asked.known, today=found.today, actor=found.actor)
    except AskedRefused as refused:
        raise BadParameters({_FIELD.get(type(refused), "period"): str(refused)}) from refused
