"""Is a page that was made a moment ago still the page that would be made now? One statement."""

import datetime as dt

from django.contrib.sessions.models import Session
from django.db import connection

from pmcore.models import Account, Entry

_STATEMENT = (
    f'SELECT (SELECT max(seq) FROM "{Entry._meta.db_table}"), '
    f'EXISTS (SELECT 1 FROM "{Session._meta.db_table}" WHERE session_key = %s AND expire_date > %s), '
    f'EXISTS (SELECT 1 FROM "{Account._meta.db_table}" WHERE id = %s AND is_active)'
)


def is_as_it_was(*, session: str, account: int, size: int, at: dt.datetime) -> bool:
    """Nothing was written since the history had `size` entries, so that roles and sites are as they were too; the
    session lives at `at` and its account is in use."""
    with connection.cursor() as cursor:
        cursor.execute(_STATEMENT, [session, connection.ops.adapt_datetimefield_value(at), account])
        newest, lives, in_use = cursor.fetchone()
    return bool(lives and in_use) and (newest or 0) == size
