"""The one lock under which the record grows."""

from collections.abc import Iterator
from contextlib import contextmanager

from django.db import OperationalError, connection, transaction

from pmcore.services.refusals import RecordBusy

_ADVISORY_KEY = 0x706D636F7265  # "pmcore"
_PATIENCE = "10s"


@contextmanager
def writing() -> Iterator[None]:
    """A transaction that holds the lock of the record: check again, append, leave. Nests.

    SQLite's immediate transaction is the lock; PostgreSQL takes an advisory one. Raises RecordBusy.
    """
    try:
        with transaction.atomic():
            if connection.vendor == "postgresql":
                with connection.cursor() as cursor:
                    cursor.execute(
                        f"SET LOCAL lock_timeout = '{_PATIENCE}'; SELECT pg_advisory_xact_lock({_ADVISORY_KEY})"
                    )
            yield
    except OperationalError as error:
        if _is_busy(error):
            raise RecordBusy from error
        raise


def _is_busy(error: OperationalError) -> bool:
    return getattr(error.__cause__, "sqlstate", None) == "55P03" or "database is locked" in str(error)
