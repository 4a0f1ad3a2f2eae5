"""Failure rates, two groups compared, and the differences that stand out."""

from typing import Any

from drf_spectacular.utils import extend_schema_field
from rest_framework import serializers
from rest_framework.request import Request
from rest_framework.response import Response

from api.documented import DAY, WHEN, WORDS, Parameter, one_of, several
from api.serializers import serializer_of
from api.views import ApiView
from pmcore.engines.vocabulary import Discovery, FailureEvidence, RateGrouping, Subsystem
from pmcore.queries.reliability import failure_rates
from pmcore.queries.reliability_asked import read
from pmcore.queries.reliability_compared import Ratio, Within, compare
from pmcore.queries.reliability_scope import KINDS, LeftOut
from pmcore.queries.reliability_standouts import Standout, standouts

_CHOICE = (
    Parameter("from", "The first day that counts; else from the beginning of each device's history.", DAY),
    Parameter("to", "The last day that counts; else `as_of`.", DAY),
    *WHEN,
    several("device_class", "Only devices of these classes, by id."),
    several("device_model", "Only of these device models, by id."),
    several("revision", "Only while a device was of one of these revisions, by id."),
    several("site", "Only while it stood at one of these sites, by id."),
    several("area", "Only while it stood in one of these areas, by id."),
    several("subsystem", "Only failures of these subsystems.", one_of(Subsystem)),
    several(
        "kind", "Functional failures where nothing is said; kinds are counted apart.",
        {"type": "string", "enum": [str(kind) for kind in KINDS]},
    ),
    several("discovery", "Only what came to light in one of these ways.", one_of(Discovery)),
    Parameter("evidence", "All failures, or those that say something of an interval.", one_of(FailureEvidence)),
)  # fmt: skip


@extend_schema_field({"oneOf": [{"type": "integer"}, {"type": "string"}]})
class GroupKeyField(serializers.ReadOnlyField):
    """The id of a model, revision, site or area (0: nobody said), or a subsystem's word."""


class AskedSerializer(serializers.Serializer[Any]):
    as_of = serializers.DateField()
    known = serializers.IntegerField()


class RateGroupSerializer(serializers.Serializer[Any]):
    """`rate`: failures per device-year, with two-sided exact 95 % limits; `shrunk`: the rate pulled towards those of
    the other groups. All null where there is no exposure."""

    kind = serializers.CharField()
    key = GroupKeyField()
    label = serializers.CharField()  # type: ignore[assignment]
    events = serializers.IntegerField()
    exposure_years = serializers.FloatField()
    rate = serializers.FloatField(allow_null=True)
    lower = serializers.FloatField(allow_null=True)
    upper = serializers.FloatField(allow_null=True)
    shrunk = serializers.FloatField(allow_null=True)


class FailureRatesSerializer(AskedSerializer):
    """`starts_on`: the first day in service, null where nothing was; `left_out`: findings that are no failures of this
    figure, by their reason."""

    group_by = serializers.CharField()
    starts_on = serializers.DateField(allow_null=True)
    ends_on = serializers.DateField()
    devices = serializers.IntegerField()
    exposure_years = serializers.FloatField()
    events = serializers.IntegerField()
    groups = RateGroupSerializer(many=True)
    left_out = serializer_of(LeftOut)(many=True)


class FailureRates(ApiView):
    resource = "failure-rates"
    says = {"GET": "Tells how often devices fail per year in service, by subsystem, model, revision, site or area."}
    serializer = FailureRatesSerializer
    period = ("from", "to")
    parameters = (
        *_CHOICE,
        Parameter("group_by", "What the rate is split by; by subsystem where nothing is said.", one_of(RateGrouping)),
    )

    def get(self, request: Request) -> Response:
        asked = read(self.asked())
        when = self.when(asked.as_of, asked.known)
        report = failure_rates(
            asked.filter, group_by=asked.group_by or RateGrouping.SUBSYSTEM, as_of=when.as_of, known=when.known,
            today=when.today, actor=self.actor,
        )  # fmt: skip
        return Response(FailureRatesSerializer(report).data)


class SideSerializer(serializers.Serializer[Any]):
    """`key`: null for everything else that the question is about."""

    key = GroupKeyField(allow_null=True)
    label = serializers.CharField()  # type: ignore[assignment]
    events = serializers.IntegerField()
    exposure_years = serializers.FloatField()
    rate = serializers.FloatField(allow_null=True)


class ComparisonSerializer(serializers.Serializer[Any]):
    """`crude`: of all counts together; `within`: within strata, null where there are no two with both groups."""

    kind = serializers.CharField()
    group = SideSerializer()
    reference = SideSerializer()
    crude = serializer_of(Ratio)()
    within = serializer_of(Within)(allow_null=True)


class ComparisonsSerializer(AskedSerializer):
    """One comparison for each kind of failure."""

    group_by = serializers.CharField(source="pair.group_by")
    comparisons = ComparisonSerializer(many=True)


class Comparisons(ApiView):
    resource = "comparisons"
    says = {"GET": "Compares how often two groups fail, by the exact conditional test."}
    serializer = ComparisonsSerializer
    period = ("from", "to")
    parameters = (
        *_CHOICE,
        Parameter("group_by", "What the two groups are; subsystems where nothing is said.", one_of(RateGrouping)),
        Parameter("group", "The group, as a subsystem's word or by id.", WORDS, required=True),
        Parameter("reference", "What it is compared with; all others, where nothing is said.", WORDS),
    )

    def get(self, request: Request) -> Response:
        given = self.asked()
        given.need("group")
        asked = read(given)
        assert asked.pair is not None
        when = self.when(asked.as_of, asked.known)
        report = compare(
            asked.filter, asked.pair, as_of=when.as_of, known=when.known, today=when.today, actor=self.actor
        )
        return Response(ComparisonsSerializer(report).data)


class StandoutsSerializer(AskedSerializer):
    """`compared`: how many comparisons were made; `too_few`: how many were not, for fewer than five failures."""

    compared = serializers.IntegerField()
    too_few = serializers.IntegerField()
    standouts = serializer_of(Standout)(many=True)


class Standouts(ApiView):
    resource = "standouts"
    says = {"GET": "Names the revisions, sites and models that fail otherwise than the others of their kind."}
    serializer = StandoutsSerializer
    period = ("from", "to")
    parameters = _CHOICE

    def get(self, request: Request) -> Response:
        asked = read(self.asked())
        when = self.when(asked.as_of, asked.known)
        report = standouts(asked.filter, as_of=when.as_of, known=when.known, today=when.today, actor=self.actor)
        return Response(StandoutsSerializer(report).data)
