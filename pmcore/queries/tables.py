"""A recorded table: the order of its columns in the history, its rows taken in and rendered."""

from collections.abc import Callable, Iterable, Iterator, Sequence
from dataclasses import dataclass
from functools import cache, cached_property
from itertools import starmap
from typing import Any

from pmcore.engines.canonical import quote
from pmcore.models.base import Recorded
from pmcore.queries.bodies import json_int
from pmcore.queries.columns import MAX_INT, BadValue, Column, Fault, column_of


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
    def _fillable(self) -> set[str]:
        return {column.name for column in self.columns} - {"id"}

    @cached_property
    def _take(self) -> Callable[..., list[Any]]:
        """`(column=value, …) → [take of each column]`, written out once for this table: it runs for every row of a bulk
        append. Raises TypeError for a column that is not there to fill."""
        names = ", ".join(f"{column.name}=None" for column in self.columns if column.name != "id")
        code = ", ".join("None" if at == self.id_at else self._taken(at) for at in range(len(self.columns)))
        take: Callable[..., list[Any]] = self._compiled(f"lambda *, {names}: [{code}]" if names else "lambda: [None]")
        return take

    def _taken(self, at: int) -> str:
        """The source that takes one column: a call less for an empty one, and for the id of another row."""
        column = self.columns[at]
        given, take = column.name, f"take{at}({column.name})"
        if column.refers_to:
            return f"{given} if type({given}) is int and 0 < {given} <= {MAX_INT} else {take}"
        return f"None if {given} is None else {take}" if column.nullable else take

    def render(self, wire: Sequence[Any]) -> str:
        """The row as it stands in the body: `{"placement":{"area":3,…}}`, nulls left out.

        Raises TypeError where a value is not of its column's type.
        """
        return self._render(*wire)

    def render_all(self, wires: Iterable[Sequence[Any]]) -> Iterator[str]:
        """The same for many rows."""
        return starmap(self._render, wires)

    @cached_property
    def _render(self) -> Callable[..., str]:
        """`(wire of each column) → the row`, written out once. Every row has an id, so the commas hang on that."""
        pieces = "".join(self._rendered(at) for at in range(len(self.columns)))
        names = ", ".join(f"wire{at}" for at in range(len(self.columns)))
        opening = "{{" + quote(self.name) + ":{{"
        render: Callable[..., str] = self._compiled(f"lambda {names}: f'''{opening}{pieces}}}}}}}}}'''")
        return render

    def _rendered(self, at: int) -> str:
        """The piece of a formatted string that holds one column, with its comma."""
        column, wire, value = self.columns[at], f"wire{at}", f"render{at}(wire{at})"
        if column.render is json_int:  # a call less for most columns
            value = f"{wire} if type({wire}) is int else {value}"
        before, after = ("", ",") if at < self.id_at else ("" if at == self.id_at else ",", "")
        named = f"{before}{quote(column.name)}:{{{value}}}{after}"
        return f"{{'' if {wire} is None else f'{named}'}}" if column.nullable else named

    def _compiled(self, source: str) -> Any:
        """The source names the columns' functions by their place; nothing in it comes from outside the models."""
        functions = {f"take{at}": column.take for at, column in enumerate(self.columns)}
        functions |= {f"render{at}": column.render for at, column in enumerate(self.columns)}
        return eval(source, functions)  # noqa: S307

    def take(self, values: dict[str, Any]) -> list[Any]:
        """The wire form of the values in the order of the columns, the id still None and a Row of the same entry left
        as it is. Raises BadValue for what a column cannot take."""
        if not values.keys() <= self._fillable:
            strange = sorted(values.keys() - self._fillable)[0]
            raise BadValue(self.name, strange, "there is no such column to fill")
        try:
            return self._take(**values)
        except (Fault, TypeError):  # TypeError: a value that cannot even be looked up
            raise self._bad(values) from None

    def take_all(self, rows: Sequence[dict[str, Any]]) -> list[list[Any]]:
        """The same for many rows."""
        take = self._take
        try:
            return [take(**values) for values in rows]
        except (Fault, TypeError):
            return [self.take(values) for values in rows]  # says where and why

    def _bad(self, values: dict[str, Any]) -> BadValue:
        for column in self.columns:
            try:
                column.take(values.get(column.name))
            except (Fault, TypeError) as fault:
                missing = values.get(column.name) is None
                return BadValue(self.name, column.name, "it is missing" if missing else str(fault))
        raise AssertionError("a row that was refused is taken")


@cache
def table_of(model: type[Recorded]) -> Table:
    return Table(model)
