"""The compliance figure: the same question and the same answer as on the page."""

import datetime as dt
from collections.abc import Mapping
from dataclasses import dataclass, fields
from typing import Any

from drf_spectacular.utils import OpenApiParameter, extend_schema
from rest_framework.request import Request
from rest_framework.response import Response
from rest_framework_dataclasses.serializers import DataclassSerializer

from api.asking import Resource, actor_of_request, today_of
from api.catalogue import AS_OF, KNOWN, filters
from api.errors import BadRequest, problem_responses
from api.moments import moment_of
from api.permissions import STAFF
from pmcore.engines.compliance import Share, Tally
from pmcore.engines.vocabulary import Grouping
from pmcore.queries.compliance import ComplianceReport, compliance
from pmcore.queries.compliance_asked import ComplianceAsked, parse
from pmcore.queries.device_labels import DeviceLabel
from pmcore.queries.figure_changes import FigureChange, figure_changes
from pmcore.queries.head import head
from pmcore.queries.standing_lists import Listed

_EXPLAINED = 40

_PARAMETERS = [
    OpenApiParameter("period", str, description="A month, as 2026-09; else `from` and `to`."),
    OpenApiParameter("from", str, description="The first day of the period."),
    OpenApiParameter("to", str, description="The last day of the period."),
    *filters(
        site="Ids of sites.",
        area="Ids of areas.",
        device_class="Ids of device classes.",
        risk_class="Risk classes.",
        basis="Bases of plans.",
    ),
    AS_OF,
    KNOWN,
]


@dataclass(frozen=True, slots=True)
class ShareAnswer:
    """`percent`: one decimal, as text; null where there is nothing to divide by."""

    numerator: int
    denominator: int
    percent: str | None


@dataclass(frozen=True, slots=True)
class Counts:
    """due = met + met_late + reason_recorded + no_reason; the others stand apart."""

    due: int
    met: int
    met_late: int
    reason_recorded: int
    no_reason: int
    open: int
    ahead: int
    suspended: int
    ended: int
    withdrawn: int
    share: ShareAnswer


@dataclass(frozen=True, slots=True)
class GroupAnswer(Counts):
    key: str
    label: str


@dataclass(frozen=True, slots=True)
class ListedAnswer:
    """A due inspection by name."""

    due_inspection: int
    device: DeviceLabel
    plan: int
    site: int
    risk_class: str
    counted: str
    due_on: dt.date
    closes_on: dt.date
    completed_on: dt.date | None
    recorded_on: dt.date | None


@dataclass(frozen=True, slots=True)
class ComplianceAnswer(Counts):
    """`coverage`: devices with a plan or a signed "none needed" ÷ devices; `uncovered` names the others. `census`:
    devices overdue on `as_of` ÷ devices under a plan. `lists`: what stands by name beside the figure."""

    starts_on: dt.date
    ends_on: dt.date
    as_of: dt.date
    known: int
    devices: ShareAnswer
    coverage: ShareAnswer
    uncovered: list[DeviceLabel]
    census: ShareAnswer
    lists: dict[str, list[ListedAnswer]]
    groups: list[GroupAnswer] | None


class ComplianceSerializer(DataclassSerializer):
    class Meta:
        dataclass = ComplianceAnswer


@dataclass(frozen=True, slots=True)
class ChangesAnswer:
    as_of: dt.date
    known: int
    since: int
    changes: list[FigureChange]


class ChangesSerializer(DataclassSerializer):
    class Meta:
        dataclass = ChangesAnswer


class Compliance(Resource):
    roles = {"GET": STAFF}

    @extend_schema(
        description="How many of the inspections whose windows closed in a period were met, and what stands beside.",
        parameters=[*_PARAMETERS, OpenApiParameter("group_by", str, enum=list(Grouping), description="Split by this.")],
        responses={200: ComplianceSerializer, **problem_responses()},
    )
    def get(self, request: Request) -> Response:
        asked, rest = _question(request, without=("since",))
        report = compliance(asked.filter, group_by=asked.group_by, **rest)
        return Response(ComplianceSerializer(answer_of(report, asked.group_by)).data)


class ComplianceChanges(Resource):
    roles = {"GET": STAFF}

    @extend_schema(
        description="Which due inspections count otherwise than when the history had `since` entries, and the entries "
        f"that made it so, looked for on {_EXPLAINED} devices at most.",
        parameters=[*_PARAMETERS, OpenApiParameter("since", int, required=True, description="The earlier size.")],
        responses={200: ChangesSerializer, **problem_responses()},
    )
    def get(self, request: Request) -> Response:
        asked, rest = _question(request, without=("group_by",))
        if asked.since is None:
            raise BadRequest({"since": "Say since which size of the history: since=1200."})
        found = figure_changes(asked.filter, before=asked.since, explained=_EXPLAINED, **rest)
        answer = ChangesAnswer(rest["as_of"], rest["known"], asked.since, found)
        return Response(ChangesSerializer(answer).data)


def _question(request: Request, *, without: tuple[str, ...]) -> tuple[ComplianceAsked, dict[str, Any]]:
    """What is asked, and as of when, as known at which size, for whom. Raises BadRequest, BadParameters."""
    given = dict(request.query_params.lists())
    strange = {name: f"There is no parameter {name!r} here." for name in without if name in given}
    if strange:
        raise BadRequest(strange)
    asked, actor = parse(given), actor_of_request(request)
    today = today_of(actor, moment_of(request))
    known = head().size if asked.known is None else asked.known
    return asked, {"as_of": asked.as_of or today, "known": known, "today": today, "actor": actor}


def answer_of(report: ComplianceReport, group_by: Grouping | None) -> ComplianceAnswer:
    groups = [GroupAnswer(**counts(each.tally), key=str(each.key), label=each.label) for each in report.groups]
    return ComplianceAnswer(
        **counts(report.tally),
        starts_on=report.asked.starts_on,
        ends_on=report.asked.ends_on,
        as_of=report.as_of,
        known=report.known,
        devices=_share(report.devices),
        coverage=_share(report.coverage.share),
        uncovered=[report.labels[each.device] for each in report.coverage.uncovered],
        census=_share(report.census),
        lists={
            field.name: [_listed(each, report.labels) for each in getattr(report.lists, field.name)]
            for field in fields(report.lists)
        },
        groups=groups if group_by is not None else None,
    )


def counts(tally: Tally) -> dict[str, Any]:
    named = {field.name: getattr(tally, field.name) for field in fields(tally)}
    return {"due": tally.due, **named, "share": _share(tally.share)}


def _share(share: Share) -> ShareAnswer:
    percent = share.percent
    return ShareAnswer(share.numerator, share.denominator, None if percent is None else str(percent))


def _listed(each: Listed, labels: Mapping[int, DeviceLabel]) -> ListedAnswer:
    return ListedAnswer(
        each.due_inspection, labels[each.device], each.plan, each.site, str(each.risk_class), str(each.counted),
        each.due_on, each.closes_on, each.completed_on, each.recorded_on,
    )  # fmt: skip
