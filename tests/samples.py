"""One row of every recorded table with every column filled, and one entry of every kind."""

import datetime as dt
from collections.abc import Callable
from itertools import count
from typing import Any

from django.db import models

from pmcore.models.base import Part, Recorded, Thing
from pmcore.models.fields import Code, FreeText, Quantity
from pmcore.models.kinds import KINDS, Kind
from pmcore.models.places import Site
from pmcore.models.rows import Row
from tests.history import AT, written

DAY = dt.date(2026, 6, 15)

# Where one value for all would break a named constraint.
_FITTING: dict[tuple[str, str], Any] = {
    ("plan_terms", "device_model"): None,
    ("plan_terms", "device_class"): None,
    ("inspection_session", "ended_at"): AT + dt.timedelta(minutes=20),
    ("site_week", "working"): "1111100",
}


def _value(model: type[Recorded], field: Any, number: int) -> Any:
    match field:
        case FreeText():
            return f"Words of {model.record_name()}, é."
        case Code(vocabulary=vocabulary):
            return next(iter(vocabulary or []))
        case Quantity():
            return "-1.50"
        case models.CharField():
            return f"{field.name} é {number}"[: field.max_length]
        case models.BooleanField():
            return True
        case models.DateTimeField():
            return AT
        case models.DateField():
            return DAY
        case models.IntegerField():
            return number
    raise TypeError(field)


def sample(model: type[Recorded], reference: Callable[[Any], Any], number: int = 3) -> dict[str, Any]:
    """A value for each column; `reference(model)` gives what a column that refers to another row gets."""
    filled = {}
    for field in model._meta.concrete_fields:
        if field.name in ("id", "entry", "replaced_by"):
            continue
        refers = isinstance(field, models.ForeignKey) and not isinstance(field, FreeText)
        given = reference(field.related_model) if refers else _value(model, field, number)
        filled[field.name] = _FITTING.get((model.record_name(), field.name), given)
    return filled


def in_order(kind: Kind) -> list[type[Recorded]]:
    """The kind's tables: things, then facts, then parts."""
    return sorted(kind.rows, key=lambda m: (not issubclass(m, Thing), issubclass(m, Part), m.record_name()))


class Everything:
    """Writes entries of every kind, each with new things to refer to, so that no two say the same of one thing."""

    def __init__(self) -> None:
        self._numbers = count(1)

    def write(self) -> None:
        for kind in KINDS.values():
            self.entry(kind)

    def entry(self, kind: Kind) -> None:
        rows: dict[Any, Row] = {}
        subject = None if kind.subject in kind.rows else self.thing(kind.subject or Site)

        def reference(model: Any) -> Any:
            if model is kind.subject and subject is not None:
                return subject
            return rows[model] if model in rows else self.thing(model, kind.subject, subject)

        for model in in_order(kind):
            rows[model] = Row(model, **sample(model, reference, next(self._numbers)))
            if "thing" in rows[model].values:
                rows[model].values["thing"] = subject
        written(kind.name, subject or rows[kind.subject], *rows.values(), note="A sample.")

    def thing(self, model: Any, owner: Any = None, owned_by: int | None = None) -> int:
        """A new thing, alone in an entry of the first kind that may hold it; where things of its class belong to an
        `owner`, it is `owned_by` that one."""
        kind = next(kind for kind in KINDS.values() if model in kind.rows)
        about = None
        if kind.subject is not model:
            about = owned_by if owned_by and kind.subject is owner else self.thing(kind.subject or Site)

        def reference(referred: Any) -> int:
            return about if about and referred is kind.subject else self.thing(referred)

        row = Row(model, **sample(model, reference, next(self._numbers)))
        written(kind.name, about or row, row)
        assert row.id is not None
        return row.id
