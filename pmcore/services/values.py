"""Values are checked before anything is looked up by them."""

from pmcore.models.rows import Row
from pmcore.queries.tables import table_of


def check_values(*rows: Row) -> None:
    """Raises BadValue, as appending the rows would."""
    for row in rows:
        table_of(row.model).take(row.values)
