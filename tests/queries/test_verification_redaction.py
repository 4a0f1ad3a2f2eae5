"""What a redaction took out stays out."""

import pytest
from django.db import connection

from pmcore.engines.records import SYSTEM
from pmcore.models import PersonDetails, Text, guards
from pmcore.queries.verification import verify
from pmcore.services.redaction import redact_text
from tests.history import AT, small_history

pytestmark = pytest.mark.django_db


def redacted() -> Text:
    """The text as it was before."""
    world = small_history()
    text = Text.objects.get(digest=PersonDetails.objects.get(person=world.person).name_id)
    redact_text(digest=text.digest, reason="Asked for by the person.", actor=SYSTEM, at=AT)
    return text


def refill(text: Text, salt: bytes | None, words: str) -> None:
    guards.take_down(connection)
    with connection.cursor() as cursor:
        cursor.execute("UPDATE pmcore_text SET salt = %s, words = %s WHERE digest = %s", [salt, words, text.digest])


def test_the_same_words_put_back_are_named() -> None:
    text = redacted()
    assert verify().sound
    refill(text, bytes(text.salt or b""), text.words or "")
    assert [(fault.code, fault.seq) for fault in verify().faults] == [("text_restored", text.entry)]


@pytest.mark.parametrize("salt", [b"0123456789abcdef", None])
def test_other_words_in_their_place_are_altered_ones_too(salt: bytes | None) -> None:
    text = redacted()
    refill(text, salt, "Somebody else")
    assert [(fault.code, fault.seq) for fault in verify().faults] == [
        ("text_altered", text.entry),
        ("text_restored", text.entry),
    ]
