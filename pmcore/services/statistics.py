"""What PostgreSQL plans its statements by."""

from django.apps import apps
from django.db import connection


def count_anew() -> None:
    """After much was written at once. PostgreSQL counts by itself only some time later, and not at all within a
    transaction; until then it takes the tables for all but empty, and a statement of a second may take minutes."""
    if connection.vendor != "postgresql":
        return
    names = (connection.ops.quote_name(model._meta.db_table) for model in apps.get_app_config("pmcore").get_models())
    with connection.cursor() as cursor:
        cursor.execute(f"ANALYZE {', '.join(names)}")
