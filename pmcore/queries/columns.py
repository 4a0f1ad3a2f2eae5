"""How each column of a recorded table is taken in, and how it looks in the history.

Three forms of one value: what a caller gives, the *wire* form (what both databases are given and give back: int, bool,
or str), and the JSON text in the body. A body is always rendered from the wire form, when a row is written and when it
is verified, so that the bytes can only agree if the rows do.
"""

import datetime as dt
import re
from collections.abc import Callable, Sequence
from dataclasses import dataclass
from decimal import Decimal
from functools import cache, cached_property
from typing import Any

from django.db import models

from pmcore.engines.canonical import quote
from pmcore.models.base import Recorded
from pmcore.models.fields import Code, FreeText, Quantity
from pmcore.models.rows import Row
from pmcore.queries.bodies import moment_text

MAX_INT = 2**53 - 1  # beyond it, JSON readers disagree
MAX_TEXT = 20_000

_QUANTITY = re.compile(r"-?\d{1,12}(\.\d{1,9})?")
_CONTROL = re.compile(r"[\x00-\x1f\x7f]")


class BadValue(ValueError):
    """A value that a column cannot take. `table`, `column` and `fault` say where and why."""

    def __init__(self, table: str, column: str, fault: str) -> None:
        super().__init__(f"{table}.{column}: {fault}")
        self.table, self.column, self.fault = table, column, fault


class Fault(ValueError):
    """What is wrong with a value; the column that raises it does not know its own name."""


def _take_int(value: Any) -> int:
    if type(value) is not int:
        raise Fault(f"a whole number is wanted, not {value!r}")
    if not -MAX_INT <= value <= MAX_INT:
        raise Fault(f"{value} is too large")
    return value


def _take_small_int(value: Any) -> int:
    if not -(2**31) <= _take_int(value) < 2**31:
        raise Fault(f"{value} is too large")
    return int(value)


def _take_bool(value: Any) -> bool:
    if type(value) is not bool:
        raise Fault(f"true or false is wanted, not {value!r}")
    return value


def _take_day(value: Any) -> str:
    if type(value) is not dt.date:
        raise Fault(f"a date is wanted, not {value!r}")
    return value.isoformat()


def _take_moment(value: Any) -> str:
    if not isinstance(value, dt.datetime) or value.tzinfo is None:
        raise Fault(f"a moment with its zone is wanted, not {value!r}")
    return str(value.astimezone(dt.UTC).replace(tzinfo=None))


def _writable(value: str) -> str:
    try:
        value.encode()
    except UnicodeEncodeError:
        raise Fault("it holds half a character") from None
    return value


def _take_words(longest: int) -> Callable[[Any], str]:
    def take(value: Any) -> str:
        if not isinstance(value, str):
            raise Fault(f"words are wanted, not {value!r}")
        if not value or value != value.strip():
            raise Fault("it is empty, or begins or ends with a space")
        if len(value) > longest:
            raise Fault(f"it has {len(value)} characters, at most {longest} fit")
        if _CONTROL.search(value):
            raise Fault("it holds a control character")
        return _writable(value)

    return take


def take_free_text(value: Any) -> str:
    if not isinstance(value, str):
        raise Fault(f"words are wanted, not {value!r}")
    if not value.strip():
        raise Fault("it is empty")
    if len(value) > MAX_TEXT:
        raise Fault(f"it has {len(value)} characters, at most {MAX_TEXT} fit")
    if "\x00" in value:
        raise Fault("it holds a control character")
    return _writable(value)


def _take_quantity(value: Any) -> str:
    text = format(value, "f") if isinstance(value, Decimal) and value.is_finite() else value
    if not isinstance(text, str) or not _QUANTITY.fullmatch(text):
        raise Fault(f"a decimal number as a string is wanted, not {value!r}")
    return text


def _take_code(vocabulary: type[Any]) -> Callable[[Any], str]:
    known = {str(word) for word in vocabulary}

    def take(value: Any) -> str:
        if not isinstance(value, str) or value not in known:
            raise Fault(f"{value!r} is none of {', '.join(sorted(known))}")
        return str(value)

    return take


def _json_bool(wire: Any) -> str:
    return "true" if wire == 1 else "false" if wire == 0 else str(wire)


def _json_moment(wire: str) -> str:
    return quote(moment_text(wire))


def _taker(field: "models.Field[Any, Any]") -> Callable[[Any], Any]:
    match field:
        case FreeText():
            return take_free_text
        case Code(vocabulary=vocabulary) if vocabulary is not None:
            return _take_code(vocabulary)
        case Quantity():
            return _take_quantity
        case models.CharField(max_length=longest):
            return _take_words(longest or 0)
        case models.BooleanField():
            return _take_bool
        case models.DateTimeField():
            return _take_moment
        case models.DateField():
            return _take_day
        case models.BigIntegerField() | models.ForeignKey():
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
        case FreeText() | models.CharField() | models.DateField():
            return quote
    return str


def moment_loader(value: dt.datetime) -> str:
    return str(value.astimezone(dt.UTC).replace(tzinfo=None))


def _loader(field: "models.Field[Any, Any]") -> Callable[[Any], Any] | None:
    """From what PostgreSQL's driver gives back to the wire form."""
    match field:
        case models.DateTimeField():
            return moment_loader
        case models.DateField():
            return dt.date.isoformat
    return None


@dataclass(frozen=True, slots=True)
class Column:
    name: str
    column: str
    nullable: bool
    refers_to: type[Recorded] | None
    free_text: bool
    take: Callable[[Any], Any]
    render: Callable[[Any], str]
    load: Callable[[Any], Any] | None


def _column(field: "models.Field[Any, Any]") -> Column:
    related: Any = field.related_model if isinstance(field, models.ForeignKey) else None
    free = isinstance(field, FreeText)
    return Column(
        name=field.name,
        column=field.column,
        nullable=field.null,
        refers_to=None if free else related,
        free_text=free,
        take=_taker(field),
        render=_renderer(field),
        load=_loader(field),
    )


@dataclass(frozen=True)
class Table:
    """A recorded table, its columns in the order of their names in the body. `entry` and `replaced_by` are outside it."""

    model: type[Recorded]

    @cached_property
    def name(self) -> str:
        return self.model.record_name()

    @cached_property
    def columns(self) -> tuple[Column, ...]:
        fields = [f for f in self.model._meta.concrete_fields if f.name not in ("entry", "replaced_by")]
        return tuple(sorted((_column(field) for field in fields), key=lambda column: column.name))

    @cached_property
    def id_at(self) -> int:
        return self.column_at("id")

    def column_at(self, name: str) -> int:
        return [column.name for column in self.columns].index(name)

    @cached_property
    def free_text_at(self) -> tuple[int, ...]:
        return tuple(at for at, column in enumerate(self.columns) if column.free_text)

    @cached_property
    def references_at(self) -> tuple[tuple[int, type[Recorded]], ...]:
        return tuple((at, column.refers_to) for at, column in enumerate(self.columns) if column.refers_to)

    @cached_property
    def _pieces(self) -> list[tuple[str, Callable[[Any], str]]]:
        return [(quote(column.name) + ":", column.render) for column in self.columns]

    @cached_property
    def _opening(self) -> str:
        return "{" + quote(self.name) + ":{"

    def render(self, wire: Sequence[Any]) -> str:
        """The row as it stands in the body: `{"placement":{"area":3,…}}`, nulls left out."""
        pieces = [
            prefix + render(value)
            for (prefix, render), value in zip(self._pieces, wire, strict=False)
            if value is not None
        ]
        return self._opening + ",".join(pieces) + "}}"

    def take(self, values: dict[str, Any]) -> list[Any]:
        """The wire form of the values, the id still None, a Row of the same entry left as it is.

        Raises BadValue for what a column cannot take.
        """
        wire: list[Any] = []
        left = len(values)
        for column in self.columns:
            value = values.get(column.name)
            if value is None:
                if not column.nullable and column.name != "id":
                    raise BadValue(self.name, column.name, "it is missing")
                left -= column.name in values
                wire.append(None)
                continue
            left -= 1
            if type(value) is Row and column.refers_to is value.model:
                wire.append(value)
                continue
            try:
                wire.append(column.take(value))
            except Fault as fault:
                raise BadValue(self.name, column.name, str(fault)) from None
        if left or "id" in values:
            strange = (values.keys() - {column.name for column in self.columns}) | {"id"}
            raise BadValue(self.name, sorted(strange)[-1], "there is no such column to fill")
        return wire


@cache
def table_of(model: type[Recorded]) -> Table:
    return Table(model)
