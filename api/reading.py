"""Bodies: JSON alone, read strictly, and no more of it than one request may bring."""

import json
from collections.abc import Mapping
from typing import IO, Any, NoReturn

from rest_framework.exceptions import ParseError
from rest_framework.parsers import BaseParser

from api.errors import BodyTooLarge

MOST_BYTES = 1_000_000


class StrictJSON(BaseParser):
    """No name twice in an object, no NaN. A number with a point stays the text that was written, digits kept."""

    media_type = "application/json"

    def parse(
        self, stream: IO[Any], media_type: str | None = None, parser_context: Mapping[str, Any] | None = None
    ) -> Any:
        raw = stream.read(MOST_BYTES + 1)
        if len(raw) > MOST_BYTES:
            raise BodyTooLarge(f"A body has at most {MOST_BYTES:,} bytes.")
        try:
            return json.loads(
                raw.decode(), parse_float=str, parse_constant=_no_number, object_pairs_hook=_each_name_once
            )
        except UnicodeDecodeError as error:
            raise ParseError(f"The body is no UTF-8: byte {error.start} is none.") from error
        except RecursionError as error:
            raise ParseError("The body is nested too deeply.") from error
        except ValueError as error:
            raise ParseError(f"The body is no JSON: {error}.") from error


def _no_number(text: str) -> NoReturn:
    raise ValueError(f"{text} is no number")


def _each_name_once(pairs: list[tuple[str, Any]]) -> dict[str, Any]:
    found = dict(pairs)
    if len(found) < len(pairs):
        names = [name for name, _ in pairs]
        twice = sorted({name for name in names if names.count(name) > 1})
        raise ValueError(f"{', '.join(map(repr, twice))} stands twice in one object")
    return found
