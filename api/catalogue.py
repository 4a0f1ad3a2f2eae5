"""What the lists of the catalogue have in common, and how lists are described in the schema."""

from collections.abc import Callable
from typing import Any

from drf_spectacular.utils import OpenApiParameter, extend_schema, inline_serializer
from rest_framework import serializers

from api.asking import MOST, USUAL, Asked
from api.errors import problem_responses
from pmcore.queries.catalogue_lists import Place

AS_OF = OpenApiParameter("as_of", str, description="The day that it is told for, as 2026-10-31; today where not said.")
KNOWN = OpenApiParameter("known", int, description="How many entries of the history count; all where not said.")
PAGED = (
    OpenApiParameter("limit", int, description=f"How many at most: up to {MOST}, {USUAL} where not said."),
    OpenApiParameter("cursor", str, description="Where to go on: part of the address under `next`."),
)


def place_of(asked: Asked) -> Place:
    """For lists whose key is one id."""
    after = int(asked.after[0]) if asked.after else None
    return Place(asked.as_of, asked.known, asked.today, after, asked.limit)


def filters(*names: str, **described: str) -> list[OpenApiParameter]:
    """Filters that may be given several times, or once with commas between."""
    return [
        OpenApiParameter(name, str, description=f"{text} Several times, or with commas between.")
        for name, text in described.items()
    ] + [OpenApiParameter(name, str) for name in names]


def list_schema(sentence: str, row: Any, *parameters: OpenApiParameter) -> Callable[[Any], Any]:
    """One sentence, the row's serializer, and parameters besides the common ones."""
    name = row.__name__.removesuffix("Serializer")
    answer = inline_serializer(
        f"{name}Page",
        {
            "results": row(many=True),
            "next": serializers.URLField(allow_null=True),
            "as_of": serializers.DateField(),
            "known": serializers.IntegerField(),
        },
    )
    return extend_schema(
        operation_id=f"{name}_list",
        description=sentence,
        parameters=[*parameters, AS_OF, KNOWN, *PAGED],
        responses={200: answer, **problem_responses()},
    )
