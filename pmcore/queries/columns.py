"""How each column of a recorded table is taken in, and how it looks in the history (`tables.py` puts them together).

Three forms of one value: what a caller gives, the *wire* form (what both databases are given and give back: int, bool,
or str), and the JSON text in the body. A body is always rendered from the wire form, when a row is written and when it
is verified, so that the bytes can only agree if the rows do.
"""

import datetime as dt
import re
import unicodedata
from collections.abc import Callable
from dataclasses import dataclass
from decimal import Decimal
from functools import lru_cache
from typing import Any

from django.db import models

from pmcore.engines.canonical import quote
from pmcore.models.base import Recorded
from pmcore.models.fields import Code, FreeText, Quantity
from pmcore.models.rows import Row
from pmcore.queries.bodies import json_int, moment_text

MAX_INT = 2**53 - 1  # beyond it, JSON readers disagree
MAX_TEXT = 20_000
FIRST_YEAR, LAST_YEAR = 2000, 2200  # of moments: outside them a clock or a hand has slipped
_SHOWN = 80

_QUANTITY = re.compile(r"-?\d{1,12}(\.\d{1,9})?", re.ASCII)
_UNSEEN = frozenset({"Cc", "Cf", "Zl", "Zp"})  # control and format characters, line and paragraph separators
# Letters and marks by their category, and yet nothing to see: fillers, the joiner, variation selectors.
_BLANK = re.compile("[\u034f\u115f\u1160\u17b4\u17b5\u180b-\u180f\u2800\u3164\ufe00-\ufe0f\uffa0\U000e0100-\U000e01ef]")
_IN_FREE_TEXT = frozenset("\t\n\r\u200c\u200d")  # line breaks; joiners, without which some scripts read wrongly


class BadValue(ValueError):
    """A value that a column cannot take. `table`, `column` and `fault` say where and why."""

    def __init__(self, table: str, column: str, fault: str) -> None:
        super().__init__(f"{table}.{column}: {fault}")
        self.table, self.column, self.fault = table, column, fault


class Fault(ValueError):
    """What is wrong with a value; the column that raises it does not know its own name."""


def shown(value: Any) -> str:
    """A value in a message: short, whatever it is. Numbers of thousands of digits have no text at all."""
    try:
        text = repr(value)
    except Exception:  # an object of somebody's own may raise anything
        return f"something of the type {type(value).__name__}"
    return text if len(text) <= _SHOWN else f"{text[:_SHOWN]}…"


def _take_int(value: Any) -> int:
    if type(value) is not int:
        raise Fault(f"a whole number is wanted, not {shown(value)}")
    if not -MAX_INT <= value <= MAX_INT:
        raise Fault("the number is too large")
    return value


def _take_small_int(value: Any) -> int:
    if not -(2**31) <= _take_int(value) < 2**31:
        raise Fault(f"{value} is too large")
    return int(value)


def _take_bool(value: Any) -> bool:
    if type(value) is not bool:
        raise Fault(f"true or false is wanted, not {shown(value)}")
    return value


@lru_cache(maxsize=4096)  # a month's work names few days, many times
def _take_day(value: Any) -> str:
    if type(value) is not dt.date:
        raise Fault(f"a date is wanted, not {shown(value)}")
    return value.isoformat()


def take_moment(value: Any) -> str:
    """The wire form of a moment with its zone, of the years 2000 to 2200. Raises Fault."""
    if not isinstance(value, dt.datetime) or value.utcoffset() is None:
        raise Fault(f"a moment with its zone is wanted, not {shown(value)}")
    if not FIRST_YEAR <= value.year <= LAST_YEAR:
        raise Fault(f"a moment of the years {FIRST_YEAR} to {LAST_YEAR} is wanted, not {shown(value)}")
    return moment_wire(value)


def _writable(value: str, *, allowed: frozenset[str] = frozenset()) -> str:
    """Text that reads as it is stored: nothing unseen in it but what is `allowed`, each character in its one form."""
    if value.isascii() and value.isprintable():
        return value
    try:
        value.encode()
    except UnicodeEncodeError:
        raise Fault("it holds half a character") from None
    unseen = next((c for c in value if unicodedata.category(c) in _UNSEEN and c not in allowed), None)
    if unseen is not None:
        raise Fault(f"it holds a control character or another that cannot be seen, {unseen!a}")
    if not unicodedata.is_normalized("NFC", value):
        raise Fault("its characters are not composed (Unicode NFC)")
    return value


def _take_words(longest: int) -> Callable[[Any], str]:
    def take(value: Any) -> str:
        if not isinstance(value, str):
            raise Fault(f"words are wanted, not {shown(value)}")
        if not value or value != value.strip():
            raise Fault("it is empty, or begins or ends with a space")
        if len(value) > longest:
            raise Fault(f"it has {len(value)} characters, at most {longest} fit")
        if (blank := _BLANK.search(value)) is not None:
            raise Fault(f"it holds a character that cannot be seen, {blank[0]!a}")
        return _writable(value)

    return take


def take_free_text(value: Any) -> str:
    if not isinstance(value, str):
        raise Fault(f"words are wanted, not {shown(value)}")
    if not value.strip():
        raise Fault("it is empty")
    if len(value) > MAX_TEXT:
        raise Fault(f"it has {len(value)} characters, at most {MAX_TEXT} fit")
    return _writable(value, allowed=_IN_FREE_TEXT)


def take_quantity(value: Any) -> str:
    """At most twelve digits before the point and nine behind it, none of another script. Raises Fault."""
    text = format(value, "f") if isinstance(value, Decimal) and value.is_finite() else value
    if not isinstance(text, str) or not _QUANTITY.fullmatch(text):
        raise Fault(f"a decimal number as a string is wanted, not {shown(value)}")
    return text


def _take_code(vocabulary: type[Any]) -> Callable[[Any], str]:
    known = {str(word) for word in vocabulary}

    def take(value: Any) -> str:
        if not isinstance(value, str) or value not in known:
            raise Fault(f"{shown(value)} is none of {', '.join(sorted(known))}")
        return str(value)

    return take


def _json_bool(wire: Any) -> str:
    if type(wire) not in (bool, int) or wire not in (0, 1):
        raise TypeError(f"{wire!r} is neither true nor false")
    return "true" if wire else "false"


@lru_cache(maxsize=4096)
def _json_day(wire: str) -> str:
    # Ten characters need no escape to be told from any others of ten: nothing can hide in them.
    return f'"{wire}"' if len(wire) == 10 else quote(wire)


def _json_moment(wire: str) -> str:
    return quote(moment_text(wire))


def _taker(field: "models.Field[Any, Any]") -> Callable[[Any], Any]:
    match field:
        case FreeText():
            return take_free_text
        case Code(vocabulary=vocabulary) if vocabulary is not None:
            return _take_code(vocabulary)
        case Quantity():
            return take_quantity
        case models.CharField(max_length=longest):
            return _take_words(longest or 0)
        case models.BooleanField():
            return _take_bool
        case models.DateTimeField():
            return take_moment
        case models.DateField():
            return _take_day
        case models.BigIntegerField():
            return _take_int
        case models.IntegerField():
            return _take_small_int
    raise TypeError(f"{field}: a recorded table has no such column")


def _renderer(field: "models.Field[Any, Any]") -> Callable[[Any], str]:
    match field:
        case models.BooleanField():
            return _json_bool
        case models.DateTimeField():
            return _json_moment
        case models.DateField():
            return _json_day
        case FreeText() | models.CharField():
            return quote
    return json_int


@lru_cache(maxsize=256)
def moment_wire(value: dt.datetime) -> str:
    return str(value.astimezone(dt.UTC).replace(tzinfo=None))


def _reference(target: type[Recorded]) -> Callable[[Any], Any]:
    """The id of a row, or a Row of the same entry, whose id comes under the lock."""

    def take(value: Any) -> Any:
        if type(value) is int and 0 < value <= MAX_INT:
            return value
        if type(value) is not Row or value.model is not target:
            raise Fault(f"the id of a {target.record_name()} is wanted, not {shown(value)}")
        return value

    return take


def _or_none(take: Callable[[Any], Any]) -> Callable[[Any], Any]:
    return lambda value: None if value is None else take(value)


@dataclass(frozen=True, slots=True)
class Column:
    """One column: `take` from a caller's value (or None) to wire form, `render` from wire form to JSON."""

    name: str
    column: str
    nullable: bool
    refers_to: type[Recorded] | None
    free_text: bool
    take: Callable[[Any], Any]
    render: Callable[[Any], str]


def column_of(field: "models.Field[Any, Any]") -> Column:
    free = isinstance(field, FreeText)
    target: Any = field.related_model if isinstance(field, models.ForeignKey) and not free else None
    take = _reference(target) if target else _taker(field)
    return Column(
        name=field.name,
        column=str(field.column),
        nullable=field.null,
        refers_to=target,
        free_text=free,
        take=_or_none(take) if field.null or field.primary_key else take,
        render=_renderer(field),
    )
