"""The compliance figure, and which entries changed it."""

from typing import Any

from drf_spectacular.utils import extend_schema_field
from rest_framework import serializers
from rest_framework.request import Request
from rest_framework.response import Response

from api.documented import DAY, NUMBER, WHEN, WORDS, Parameter, one_of, several
from api.serializers import ShareSerializer, serializer_of
from api.views import ApiView
from pmcore.engines.vocabulary import Counted, Grouping, PlanBasis, RiskClass
from pmcore.queries.arrivals import Arrival
from pmcore.queries.compliance import compliance
from pmcore.queries.compliance_asked import read
from pmcore.queries.coverage import InInventory
from pmcore.queries.device_labels import DeviceLabel
from pmcore.queries.doubts import Doubt
from pmcore.queries.figure_changes import TRIED_AT_ONCE, FigureChange, figure_changes
from pmcore.queries.parameters import a_number
from pmcore.queries.standing_lists import Lists

_EXPLAINED, _MOST_EXPLAINED = 10, 40  # devices

_CHOICE = (
    Parameter("period", "The month in which the windows closed, as 2026-09; else `from` and `to`.", WORDS),
    Parameter("from", "The first day of the period in which the windows closed.", DAY),
    Parameter("to", "The last day of the period in which the windows closed.", DAY),
    *WHEN,
    several("site", "Only at these sites, by id."),
    several("area", "Only in these areas, by id."),
    several("device_class", "Only devices of these classes, by id."),
    several("risk_class", "Only of these risk classes.", one_of(RiskClass)),
    several("basis", "Only for plans on one of these grounds.", one_of(PlanBasis)),
)


@extend_schema_field({"oneOf": [{"type": "integer"}, {"type": "string"}]})
class KeyField(serializers.ReadOnlyField):
    """The id of a site, area or class (0: nobody said), a word, or a month as 2026-09."""


class FigureSerializer(serializers.Serializer[Any]):
    """How many due inspections counted as what; due = met + met_late + reason_recorded + no_reason."""

    due = serializers.IntegerField(source="tally.due")
    share = ShareSerializer(source="tally.share")


for _word in Counted:
    FigureSerializer._declared_fields[str(_word)] = serializers.IntegerField(source=f"tally.{_word}")


class GroupSerializer(FigureSerializer):
    key = KeyField()
    label = serializers.CharField()  # type: ignore[assignment]


class PeriodSerializer(serializers.Serializer[Any]):
    starts_on = serializers.DateField()
    ends_on = serializers.DateField()


class CoverageSerializer(serializers.Serializer[Any]):
    """Devices with a plan or a signed "none needed" ÷ devices in the inventory; those with neither."""

    share = ShareSerializer()
    uncovered = serializer_of(InInventory)(many=True)


class ComplianceSerializer(FigureSerializer):
    """`devices_met`: devices with everything met ÷ devices with anything due; `census`: devices overdue on the day ÷
    devices under a plan; `device_labels`: every device that stands by its id anywhere in the answer."""

    as_of = serializers.DateField()
    known = serializers.IntegerField()
    period = PeriodSerializer(source="asked")
    devices_met = ShareSerializer(source="devices")
    coverage = CoverageSerializer()
    census = ShareSerializer()
    groups = GroupSerializer(many=True)
    lists = serializer_of(Lists)()
    arrivals = serializer_of(Arrival)(many=True)
    doubts = serializer_of(Doubt)(many=True)
    device_labels = serializers.SerializerMethodField()

    @extend_schema_field(serializer_of(DeviceLabel)(many=True))
    def get_device_labels(self, report: Any) -> Any:
        return serializer_of(DeviceLabel)(sorted(report.labels.values(), key=lambda each: each.device), many=True).data


class Compliance(ApiView):
    resource = "compliance"
    says = {
        "GET": "Tells how many of the inspections whose windows closed in a period were met, and what stands beside."
    }
    serializer = ComplianceSerializer
    period = ("from", "to")
    parameters = (*_CHOICE, Parameter("group_by", "Splits the same figure by this, under `groups`.", one_of(Grouping)))

    def get(self, request: Request) -> Response:
        asked = read(self.asked())
        when = self.when(asked.as_of, asked.known)
        report = compliance(
            asked.filter,
            as_of=when.as_of,
            known=when.known,
            today=when.today,
            actor=self.actor,
            group_by=asked.group_by,
        )
        return Response(ComplianceSerializer(report).data)


class ChangesSerializer(serializers.Serializer[Any]):
    """What makes the figure as known at `known` another than as known at `since`, both as of one day. `entries`: null
    where the device is none of those that entries were looked for on."""

    since = serializers.IntegerField()
    as_of = serializers.DateField()
    known = serializers.IntegerField()
    changes = serializer_of(FigureChange)(many=True)


def _some_devices(text: str) -> int:
    number = a_number(text)
    if number > _MOST_EXPLAINED:
        raise ValueError(f"{number} devices are more than {_MOST_EXPLAINED}; ask for a site or an area at a time.")
    return number


class ComplianceChanges(ApiView):
    resource = "compliance-changes"
    says = {"GET": "Names the due inspections that count otherwise than when the history was shorter, and the entries."}
    serializer = ChangesSerializer
    period = ("from", "to")
    parameters = (
        *_CHOICE,
        Parameter("since", "The earlier size of the history that is compared with.", NUMBER, required=True),
        Parameter(
            "explain",
            f"On how many devices the entries are looked for, at some cost; {_EXPLAINED} where nothing is said. "
            f"At most {TRIED_AT_ONCE} entries are tried: on devices that have more since then, none are looked for.",
            {**NUMBER, "maximum": _MOST_EXPLAINED},
        ),
    )

    def get(self, request: Request) -> Response:
        given = self.asked()
        given.need("since")
        explain = given.one("explain", _some_devices)
        asked = read(given)
        when = self.when(asked.as_of, asked.known)
        since = asked.since or 0
        changes = figure_changes(
            asked.filter,
            as_of=when.as_of,
            known=when.known,
            before=since,
            today=when.today,
            actor=self.actor,
            explained=_EXPLAINED if explain is None else explain,
            tried=TRIED_AT_ONCE,
        )
        said = {"since": since, "as_of": when.as_of, "known": when.known, "changes": changes}
        return Response(ChangesSerializer(said).data)
