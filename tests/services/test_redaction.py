"""Words are taken out, and the history still holds."""

import pytest

from pmcore.engines.records import SYSTEM
from pmcore.models import Entry, PersonDetails, Redaction, Text
from pmcore.queries.columns import BadValue
from pmcore.queries.head import head
from pmcore.queries.verification import verify
from pmcore.services.redaction import AlreadyRedacted, NothingToRedact, redact_text
from pmcore.services.refusals import NotAllowed
from tests.cast import check_refused
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
    with check_refused(AlreadyRedacted):
        redact_text(digest=digest, reason="Asked for again.", actor=SYSTEM, at=AT)


def test_the_entry_is_about_what_the_words_were_about() -> None:
    world = small_history()
    digest = PersonDetails.objects.get(person=world.person).name_id
    receipt = redact_text(digest=digest, reason="Asked for by the person.", actor=SYSTEM, at=AT)
    assert receipt.subject == world.person
    redaction = Redaction.objects.get(text=digest)
    assert (redaction.entry, redaction.reason.words) == (receipt.seq, "Asked for by the person.")


def test_a_note_is_taken_out_too() -> None:
    small_history()
    digest = Entry.objects.filter(note__isnull=False).earliest("seq").note_id
    redact_text(digest=digest, reason="It named a patient.", actor=SYSTEM, at=AT)
    assert Text.objects.get(digest=digest).words is None
    assert verify().sound


@pytest.mark.parametrize(
    ("digest", "reason", "error"),
    [("0" * 64, "A guess.", NothingToRedact), ("\x00", "A guess.", BadValue), ("0" * 64, " ", BadValue)],
)
def test_what_is_not_there_cannot_be_taken_out(digest: str, reason: str, error: type[Exception]) -> None:
    with check_refused(error):
        redact_text(digest=digest, reason=reason, actor=SYSTEM, at=AT)


def test_who_may_not_takes_no_words_out() -> None:
    world = small_history()
    digest = PersonDetails.objects.get(person=world.person).name_id
    with check_refused(NotAllowed):
        redact_text(digest=digest, reason="Mine.", actor=world.technician, at=AT)
    assert Text.objects.get(digest=digest).words == "Ines Caddock"
