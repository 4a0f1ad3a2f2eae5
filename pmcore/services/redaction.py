"""Taking words out of the record without breaking it."""

import datetime as dt

from django.db import connection

from pmcore.engines.records import Actor
from pmcore.models import Entry, Redaction, Text
from pmcore.models.rows import Row
from pmcore.services.append import append
from pmcore.services.permissions import use_case
from pmcore.services.refusals import RecordRefused
from pmcore.services.requests import Receipt, Request
from pmcore.services.values import check_values


class NothingToRedact(RecordRefused):
    """There is no such text."""


class AlreadyRedacted(RecordRefused):
    """The words were taken out before."""


@use_case("redact", "text_redacted")
def redact_text(*, digest: str, reason: str, actor: Actor, at: dt.datetime, request: Request | None = None) -> Receipt:
    """Empty a text and its salt, with an entry that says by whom and why. The hash stays, and every proof with it.

    Raises NothingToRedact, AlreadyRedacted, NotAllowed.
    """
    redaction = Row(Redaction, text=digest, reason=reason)
    check_values(redaction)
    text = Text.objects.filter(digest=digest).first()
    if text is None:
        raise NothingToRedact(f"There is no text {digest[:12]}….")
    if text.words is None:
        raise AlreadyRedacted(f"The text {digest[:12]}… was taken out before.")
    subject = Entry.objects.get(seq=text.entry).subject
    receipt = append("text_redacted", subject, [redaction], actor=actor, at=at, request=request)
    with connection.cursor() as cursor:
        cursor.execute(f"UPDATE {Text._meta.db_table} SET words = NULL, salt = NULL WHERE digest = %s", [digest])
    return receipt
