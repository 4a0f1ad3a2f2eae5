"""What refuses to start, and why."""

from collections.abc import Sequence
from typing import Any

from django.core.checks import CheckMessage, Error, Info, Tags, register
from django.core.exceptions import ImproperlyConfigured
from django.db import connections

from pmcore.models import Entry, guards


@register(Tags.database)
def guards_stand(*, databases: Sequence[str] | None = None, **_: Any) -> list[CheckMessage]:
    """The triggers that keep the record from being changed are there, and as they should be."""
    found: list[CheckMessage] = []
    for alias in databases or []:
        connection = connections[alias]
        if Entry._meta.db_table not in connection.introspection.table_names():
            continue  # not migrated yet: the first migration puts them up
        gone = guards.missing(connection)
        if gone:
            names = ", ".join(gone[:3]) + (f" and {len(gone) - 3} more" if len(gone) > 3 else "")
            found.append(
                Error(
                    f"The record is not guarded: {names} missing or altered.",
                    hint="Find out who took them down and run verify_history; `manage.py migrate` puts them up again.",
                    id="pmcore.E001",
                )
            )
        found += _journal(connection)
    return found


def _journal(connection: Any) -> list[CheckMessage]:
    if connection.vendor != "sqlite":
        return []
    with connection.cursor() as cursor:
        cursor.execute("SELECT sqlite_version()")
        version = cursor.fetchone()[0]
        cursor.execute("PRAGMA journal_mode")
        mode = cursor.fetchone()[0]
    return [Info(f"SQLite {version} with the {mode} journal.", id="pmcore.I001")]


def refuse_to_start_unguarded() -> None:
    """For the web process and the workers: raises ImproperlyConfigured where a guard is missing."""
    for message in guards_stand(databases=list(connections)):
        if message.is_serious():
            raise ImproperlyConfigured(f"{message.msg} {message.hint}")
