"""Taking words out of the record without breaking it."""

import datetime as dt

from django.db import connection

from pmcore.engines.records import Actor
from pmcore.models import Entry, Redaction, Text
from pmcore.models.rows import Row
from pmcore.services.append import append
from pmcore.services.lock import writing
from pmcore.services.permissions import check_role
from pmcore.services.refusals import RecordRefused
from pmcore.services.requests import Receipt


class NothingToRedact(RecordRefused):
    """No such text, or it was taken out before."""


def redact_text(*, digest: str, reason: str, actor: Actor, at: dt.datetime) -> Receipt:
    """Empty a text and its salt, with an entry that says by whom and why. The hash stays, and every proof with it.

    Raises NothingToRedact, NotAllowed.
    """
    check_role(actor, "redact")
    text = Text.objects.filter(digest=digest).first()
    if text is None:
        raise NothingToRedact(f"There is no text {digest[:12]}….")
    subject = Entry.objects.get(seq=text.entry).subject
    with writing():
        receipt = append("text_redacted", subject, [Row(Redaction, text=digest, reason=reason)], actor=actor, at=at)
        with connection.cursor() as cursor:
            cursor.execute(
                "UPDATE pmcore_text SET words = NULL, salt = NULL WHERE digest = %s AND words IS NOT NULL", [digest]
            )
            if cursor.rowcount != 1:
                raise NothingToRedact(f"The text {digest[:12]}… was taken out before.")
    return receipt
