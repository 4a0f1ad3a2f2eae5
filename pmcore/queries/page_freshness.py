"""Is a page that was made a moment ago still the page that would be made now? One statement."""

import datetime as dt
from dataclasses import dataclass

from django.contrib.sessions.models import Session
from django.db import connection

from pmcore.engines.vocabulary import AlertChannel
from pmcore.models import Account, Alert, AlertAcknowledgement, Delivery, Entry

_STATEMENT = (
    f'SELECT (SELECT max(seq) FROM "{Entry._meta.db_table}"), '
    f'EXISTS (SELECT 1 FROM "{Session._meta.db_table}" WHERE session_key = %s AND expire_date > %s), '
    f'EXISTS (SELECT 1 FROM "{Account._meta.db_table}" '
    "WHERE id = %s AND password = %s AND person_id = %s AND is_active), "
    "(SELECT count(DISTINCT a.about) "
    f'FROM "{Delivery._meta.db_table}" d JOIN "{Alert._meta.db_table}" a ON a.id = d.alert_id '
    f'JOIN "{Account._meta.db_table}" c ON c.person_id = d.person '
    f"WHERE c.id = %s AND d.channel = '{AlertChannel.IN_APP}' AND a.over_at IS NULL "
    f'AND NOT EXISTS (SELECT 1 FROM "{AlertAcknowledgement._meta.db_table}" k '
    "WHERE k.alert_key = a.unique_key AND k.replaced_by IS NULL))"
)


@dataclass(frozen=True, slots=True)
class SignedIn:
    """By which session and account somebody was signed in, and what the account was then: its password's hash and its
    person. Whoever changes either signs in anew."""

    session: str
    account: int
    password: str
    person: int


def is_as_it_was(*, by: SignedIn, size: int, waiting: int, at: dt.datetime) -> bool:
    """Nothing was written since the history had `size` entries, so that roles and sites are as they were too; the
    session lives at `at`, its account is in use and as it was, and so many matters wait for its person
    (`alerts.unacknowledged`)."""
    with connection.cursor() as cursor:
        moment = connection.ops.adapt_datetimefield_value(at)
        cursor.execute(_STATEMENT, [by.session, moment, by.account, by.password, by.person, by.account])
        newest, lives, in_use, waits = cursor.fetchone()
    return bool(lives and in_use) and (newest or 0, waits) == (size, waiting)
