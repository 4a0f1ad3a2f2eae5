"""Words are taken out, and the history still holds."""

import pytest

from pmcore.engines.records import SYSTEM
from pmcore.models import PersonDetails, Text
from pmcore.queries.head import head
from pmcore.queries.verification import verify
from pmcore.services.redaction import NothingToRedact, redact_text
from pmcore.services.refusals import NotAllowed
from tests.history import AT, small_history

pytestmark = pytest.mark.django_db


def test_the_words_are_gone_and_every_proof_stands() -> None:
    world = small_history()
    before = head()
    digest = PersonDetails.objects.get(person=world.person).name_id
    redact_text(digest=digest, reason="Asked for by the person.", actor=SYSTEM, at=AT)
    text = Text.objects.get(digest=digest)
    assert (text.words, text.salt) == (None, None)
    report = verify()
    assert report.sound
    assert report.size == before.size + 1


def test_a_text_is_taken_out_once() -> None:
    world = small_history()
    digest = PersonDetails.objects.get(person=world.person).name_id
    redact_text(digest=digest, reason="Asked for.", actor=SYSTEM, at=AT)
    size = head().size
    with pytest.raises(NothingToRedact):
        redact_text(digest=digest, reason="Asked for again.", actor=SYSTEM, at=AT)
    assert head().size == size


def test_what_is_not_there_cannot_be_taken_out() -> None:
    with pytest.raises(NothingToRedact):
        redact_text(digest="0" * 64, reason="A guess.", actor=SYSTEM, at=AT)


def test_only_an_administrator_takes_words_out() -> None:
    world = small_history()
    digest = PersonDetails.objects.get(person=world.person).name_id
    with pytest.raises(NotAllowed):
        redact_text(digest=digest, reason="Mine.", actor=world.technician, at=AT)
    assert Text.objects.get(digest=digest).words == "Ines Caddock"
