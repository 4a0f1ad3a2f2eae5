"""Values are checked before anything is looked up by them, and looked up however they were written."""

from typing import Any

from django.db.models import QuerySet

from pmcore.models.rows import Row
from pmcore.queries.tables import table_of


def same_but_for_case(rows: QuerySet[Any], column: str, words: str) -> QuerySet[Any]:
    """The rows whose column reads like the words, capitals or not: `om-1` beside `OM-1` would be a twin.

    Databases do not agree on the capitals of other alphabets, so those are compared here; give few rows to look among.
    """
    if words.isascii():
        return rows.filter(**{f"{column}__iexact": words})
    folded = words.casefold()
    return rows.filter(pk__in=[pk for pk, text in rows.values_list("pk", column) if text and text.casefold() == folded])


def check_values(*rows: Row) -> None:
    """Raises BadValue, as appending the rows would."""
    for row in rows:
        table_of(row.model).take(row.values)
