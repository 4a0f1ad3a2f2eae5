"""What is said of a resource in the document: its parameters, written once beside the view that reads them."""

from collections.abc import Sequence
from dataclasses import dataclass
from enum import StrEnum
from typing import Any, Literal

from drf_spectacular.utils import OpenApiParameter

from api.paging import MOST, USUAL

DAY: dict[str, Any] = {"type": "string", "format": "date"}
NUMBER: dict[str, Any] = {"type": "integer", "minimum": 0}
WORDS: dict[str, Any] = {"type": "string"}
YES_OR_NO: dict[str, Any] = {"type": "string", "enum": ["yes", "no"]}


def one_of(vocabulary: type[StrEnum]) -> dict[str, Any]:
    return {"type": "string", "enum": [str(word) for word in vocabulary]}


@dataclass(frozen=True, slots=True)
class Parameter:
    """`several`: it may be repeated, or given once with commas between."""

    name: str
    says: str
    schema: dict[str, Any]
    several: bool = False
    required: bool = False
    place: Literal["query", "path", "header"] = "query"

    def documented(self) -> OpenApiParameter:
        schema = {"type": "array", "items": self.schema} if self.several else self.schema
        return OpenApiParameter(
            self.name,
            schema,
            self.place,
            required=self.required or self.place == "path",
            description=self.says,
            explode=True if self.several else None,
        )


def several(name: str, says: str, schema: dict[str, Any] = NUMBER) -> Parameter:
    return Parameter(name, f"{says} Repeat it, or put commas between.", schema, several=True)


def in_the_path(name: str, says: str) -> Parameter:
    return Parameter(name, says, NUMBER, place="path")


AS_OF = Parameter("as_of", "The day it is told for; today, where nothing is said. Later days are refused.", DAY)
KNOWN = Parameter(
    "known",
    "How many entries of the history count; all, where nothing is said. It makes the same answer again.",
    NUMBER,
)
LIMIT = Parameter(
    "limit", f"How many results a page has; {USUAL} where nothing is said.", {**NUMBER, "minimum": 1, "maximum": MOST}
)
CURSOR = Parameter("cursor", "Where the list goes on, as the page before gave it; follow `next`.", WORDS)
WHEN = (AS_OF, KNOWN)
PAGING = (LIMIT, CURSOR)


def names_of(parameters: Sequence[Parameter]) -> list[str]:
    """Of those in the address's query."""
    return [each.name for each in parameters if each.place == "query"]
