"""Words cannot be moved into the salt: both together would have the same hash, so a salt has one length."""

import pytest
from django.db import connection

from pmcore.models import Text, guards
from pmcore.queries.bodies import text_digest
from pmcore.queries.verification import verify
from tests.history import small_history


@pytest.mark.parametrize("length", [0, 15, 17, 24])
def test_a_salt_of_another_length_has_no_digest(length: int) -> None:
    assert len(text_digest(bytes(16), "words")) == 64
    with pytest.raises(ValueError, match="16 bytes"):
        text_digest(bytes(length), "words")


@pytest.mark.django_db
def test_words_moved_into_the_salt_are_found() -> None:
    small_history()
    text = Text.objects.get(words="Ines Caddock")
    assert text.salt is not None
    guards.take_down(connection)
    with connection.cursor() as cursor:
        cursor.execute(
            "UPDATE pmcore_text SET salt = %s, words = 'Caddock' WHERE digest = %s",
            [bytes(text.salt) + b"Ines ", text.digest],
        )
    assert [fault.code for fault in verify().faults] == ["text_altered"]
