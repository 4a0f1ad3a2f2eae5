"""A recorded table: the order of its columns in the history, its rows taken in and rendered."""

from collections.abc import Callable, Sequence
from dataclasses import dataclass
from functools import cache, cached_property
from typing import Any

from pmcore.engines.canonical import quote
from pmcore.models.base import Recorded
from pmcore.queries.columns import BadValue, Column, Fault, column_of


@dataclass(eq=False)
class Table:
    """Its columns stand in the order of their names, as the body wants them, without `entry` and `replaced_by`."""

    model: type[Recorded]

    @cached_property
    def name(self) -> str:
        return self.model.record_name()

    @cached_property
    def columns(self) -> tuple[Column, ...]:
        fields = [f for f in self.model._meta.concrete_fields if f.name not in ("entry", "replaced_by")]
        return tuple(sorted((column_of(field) for field in fields), key=lambda column: column.name))

    def column_at(self, name: str) -> int:
        return [column.name for column in self.columns].index(name)

    @cached_property
    def id_at(self) -> int:
        return self.column_at("id")

    @cached_property
    def free_text_at(self) -> tuple[int, ...]:
        return tuple(at for at, column in enumerate(self.columns) if column.free_text)

    @cached_property
    def references_at(self) -> tuple[tuple[int, type[Recorded]], ...]:
        return tuple((at, column.refers_to) for at, column in enumerate(self.columns) if column.refers_to)

    @cached_property
    def _takers(self) -> list[tuple[str, Callable[[Any], Any]]]:
        return [(column.name, column.take) for column in self.columns]

    @cached_property
    def _fillable(self) -> set[str]:
        return {column.name for column in self.columns} - {"id"}

    @cached_property
    def _pieces(self) -> list[tuple[str, Callable[[Any], str]]]:
        return [(quote(column.name) + ":", column.render) for column in self.columns]

    @cached_property
    def _opening(self) -> str:
        return "{" + quote(self.name) + ":{"

    def take(self, values: dict[str, Any]) -> list[Any]:
        """The wire form of the values in the order of the columns, the id still None and a Row of the same entry left
        as it is. Raises BadValue for what a column cannot take."""
        if not values.keys() <= self._fillable:
            strange = sorted(values.keys() - self._fillable)[0]
            raise BadValue(self.name, strange, "there is no such column to fill")
        get = values.get
        try:
            return [take(get(name)) for name, take in self._takers]
        except (Fault, TypeError):  # TypeError: a value that cannot even be looked up
            raise self._bad(values) from None

    def _bad(self, values: dict[str, Any]) -> BadValue:
        for column in self.columns:
            try:
                column.take(values.get(column.name))
            except (Fault, TypeError) as fault:
                missing = values.get(column.name) is None
                return BadValue(self.name, column.name, "it is missing" if missing else str(fault))
        raise AssertionError("a row that was refused is taken")

    def render(self, wire: Sequence[Any]) -> str:
        """The row as it stands in the body: `{"placement":{"area":3,…}}`, nulls left out."""
        pieces = [
            prefix + render(value)
            for (prefix, render), value in zip(self._pieces, wire, strict=False)
            if value is not None
        ]
        return self._opening + ",".join(pieces) + "}}"


@cache
def table_of(model: type[Recorded]) -> Table:
    return Table(model)
