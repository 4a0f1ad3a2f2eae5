"""A row that is to be written."""

from typing import Any

from pmcore.models.base import Recorded


class Row:
    """The table and the values of one row; `id` is filled when it has been appended. A value may be another Row of the
    same entry, and free text is given as the words themselves."""

    __slots__ = ("id", "model", "values")

    def __init__(self, model: type[Recorded], /, **values: Any) -> None:
        self.model = model
        self.values = values
        self.id: int | None = None

    def __repr__(self) -> str:
        return f"Row({self.model.__name__}, {', '.join(f'{k}={v!r}' for k, v in self.values.items())})"
