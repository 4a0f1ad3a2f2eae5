"""Procedures with their versions, and the lines of one."""

from dataclasses import dataclass

from django.http import Http404
from drf_spectacular.utils import extend_schema
from rest_framework.request import Request
from rest_framework.response import Response
from rest_framework_dataclasses.serializers import DataclassSerializer

from api.asking import Resource, after_of
from api.catalogue import AS_OF, KNOWN, list_schema, place_of
from api.errors import problem_responses
from api.permissions import EVERYBODY
from pmcore.queries.catalogue_lists import (
    Place,
    ProcedureListed,
    StepListed,
    procedures_page,
    steps_of_procedure,
)


class ProcedureSerializer(DataclassSerializer):
    class Meta:
        dataclass = ProcedureListed


@dataclass(frozen=True, slots=True)
class ProcedureWithSteps:
    procedure: ProcedureListed
    steps: list[StepListed]


class ProcedureWithStepsSerializer(DataclassSerializer):
    class Meta:
        dataclass = ProcedureWithSteps


class Procedures(Resource):
    roles = {"GET": EVERYBODY}

    @list_schema("Every procedure, with its versions.", ProcedureSerializer)
    def get(self, request: Request) -> Response:
        asked = self.asked(request, paged=True)
        found = procedures_page(place_of(asked))
        return self.page(request, asked, ProcedureSerializer(found.results, many=True).data, after_of(found.after))


class Procedure(Resource):
    roles = {"GET": EVERYBODY}

    @extend_schema(
        description="One procedure with the lines of all its versions.",
        parameters=[AS_OF, KNOWN],
        responses={200: ProcedureWithStepsSerializer, **problem_responses()},
    )
    def get(self, request: Request, procedure: int) -> Response:
        asked = self.asked(request)
        at = Place(asked.as_of, asked.known, asked.today, after=procedure - 1, limit=1)
        found = [each for each in procedures_page(at).results if each.id == procedure]
        if not found:
            raise Http404
        answer = ProcedureWithSteps(found[0], list(steps_of_procedure(procedure, at)))
        return Response(ProcedureWithStepsSerializer(answer).data)
