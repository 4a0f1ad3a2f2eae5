"""Whether a stored value is one that its column can hold. SQLite keeps anything in any column; PostgreSQL has days and
moments that no calendar has, and tables can be altered."""

import datetime as dt
import re
from collections.abc import Iterator, Sequence
from typing import Any

from django.db import models

from pmcore.models.base import Recorded
from pmcore.models.fields import FreeText

_DAY = re.compile(r"\d{4}-\d\d-\d\d", re.ASCII)
_MOMENT = re.compile(r"\d{4}-\d\d-\d\d \d\d:\d\d:\d\d(\.\d{6})?", re.ASCII)


def is_text(value: Any) -> bool:
    """Text that is UTF-8: bytes that are none were read as lone surrogates."""
    if type(value) is not str:
        return False
    try:
        value.encode()
    except UnicodeEncodeError:
        return False
    return True


def _is_in_the_calendar(value: Any, form: "re.Pattern[str]") -> bool:
    if type(value) is not str or not form.fullmatch(value):
        return False
    try:
        dt.datetime.fromisoformat(value)
    except ValueError:
        return False
    return True


def _fits(field: "models.Field[Any, Any]", value: Any) -> tuple[bool, str]:
    """Whether the value fits, and what would."""
    match field:
        case models.BooleanField():
            return type(value) in (bool, int) and value in (0, 1), "true or false"
        case models.DateTimeField():
            return _is_in_the_calendar(value, _MOMENT), "a moment"
        case models.DateField():
            return _is_in_the_calendar(value, _DAY), "a day"
        case models.BinaryField():
            return type(value) is bytes, "bytes"
        case FreeText() | models.CharField() | models.TextField():
            return is_text(value), "text"
    return type(value) is int, "a whole number"


def described(value: Any) -> str:
    match value:
        case None:
            return "nothing"
        case str() if not is_text(value):
            return "text that is no UTF-8"
        case str():
            return f"the text {value[:40]!r}"
        case bytes():
            return f"{len(value)} bytes"
        case _:
            return f"{value!r}"


def strange(model: type[Recorded], names: Sequence[str], values: Sequence[Any]) -> Iterator[str]:
    """What is wrong with the row's values, a sentence's end for each that its column cannot hold."""
    for name, value in zip(names, values, strict=True):
        field: Any = model._meta.get_field(name)
        fits, wanted = _fits(field, value)
        if not fits and not (value is None and field.null):
            yield f"{name} holds {described(value)}, not {wanted}"
