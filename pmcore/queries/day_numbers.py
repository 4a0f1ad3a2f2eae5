"""Rows as whole numbers: days are counted in the database, so that a hundred thousand rows become one array."""

from typing import Any

import numpy as np
from django.db.models import BigIntegerField, F, Func, QuerySet
from numpy.typing import NDArray

Ids = NDArray[np.int64]


class DayNumber(Func):
    """A day as the number of days since 1970-01-01; null stays null."""

    output_field = BigIntegerField()

    def as_sqlite(self, compiler: Any, connection: Any, **context: Any) -> Any:
        template = "CAST(julianday(%(expressions)s) - 2440587.5 AS INTEGER)"
        return self.as_sql(compiler, connection, template=template, **context)

    def as_postgresql(self, compiler: Any, connection: Any, **context: Any) -> Any:
        return self.as_sql(compiler, connection, template="(%(expressions)s - DATE '1970-01-01')", **context)


def number_columns(rows: QuerySet[Any], *names: str | DayNumber) -> tuple[Ids, ...]:
    """The columns, each an array; in no order. One statement."""
    table = np.array(list(rows.order_by().values_list(*names)), np.int64).reshape(-1, len(names))
    return tuple(np.ascontiguousarray(table.T))


def day_of(name: str) -> DayNumber:
    return DayNumber(F(name))
