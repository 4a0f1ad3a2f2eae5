"""`device__among=ids`: one of many ids, handed over as one value however many they are."""

import json
from typing import TYPE_CHECKING, Any

from django.core.exceptions import EmptyResultSet
from django.db.models import BigIntegerField, ForeignKey, Lookup

if TYPE_CHECKING:  # at run time Django's lookups take no type arguments
    AnyLookup = Lookup[Any]
else:
    AnyLookup = Lookup


class Among(AnyLookup):
    """As `in` with a list, without its limit of parameters on SQLite. A subquery in its place is planned as a nested
    loop on PostgreSQL, which takes the facts in force on a day for a single row."""

    lookup_name = "among"
    prepare_rhs = False

    def as_sql(self, compiler: Any, connection: Any) -> tuple[str, tuple[Any, ...]]:
        if not self.rhs:
            raise EmptyResultSet  # as for `in`: nothing is asked of the database
        column, parameters = self.process_lhs(compiler, connection)
        if connection.vendor == "postgresql":
            return f"{column} = ANY(%s)", (*parameters, list(self.rhs))
        return f"{column} IN (SELECT value FROM json_each(%s))", (*parameters, json.dumps(list(self.rhs)))

    def get_db_prep_lookup(self, value: Any, connection: Any) -> tuple[str, tuple[Any, ...]]:
        return "%s", (value,)


ForeignKey.register_lookup(Among)
BigIntegerField.register_lookup(Among)  # ids themselves
