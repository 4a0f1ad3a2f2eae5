"""The history itself: its entries, and the free text that they cover by a salted hash."""

from typing import ClassVar

from django.db import models
from django.db.models import F, Q, Value
from django.db.models.functions import Coalesce

from pmcore.models.base import Fact, Recorded, undated
from pmcore.models.fields import FreeText, Identifier, free_text, words


class Entry(Recorded):
    """One line of the history. `seq` has no gaps and follows the order of commits.

    The rows of an entry have the ids after the last entry's `last_id` up to its own. `leaf` is the hash of the body
    that is rendered from these columns and rows (`queries/bodies.py`). The last entry of each transaction also keeps
    the right edge of the tree, so that the root at any size costs one look-up and a few leaves.
    """

    id = None  # an entry is numbered by its place
    entry = None  # type: ignore[assignment]
    seq = Identifier(primary_key=True)
    at = models.DateTimeField()
    kind = models.CharField(max_length=40)
    subject = models.BigIntegerField()
    person = models.BigIntegerField(null=True)
    role = models.CharField(max_length=40)
    note = FreeText(null=True)
    last_id = models.BigIntegerField()
    leaf = models.BinaryField(max_length=32)
    edge = models.BinaryField(null=True)
    # Outside the body: what a retry is recognised by.
    request_key = models.CharField(max_length=100, null=True)
    request_digest = models.CharField(max_length=64, null=True)

    class Meta(Recorded.Meta):
        verbose_name_plural = "entries"
        constraints = [
            models.UniqueConstraint(
                Coalesce(F("person"), Value(0)),
                F("request_key"),
                condition=Q(request_key__isnull=False),
                name="entry_request_once",
            )
        ]
        indexes = [models.Index(fields=["subject", "seq"], name="entry_of_subject")]  # a device's timeline

    @classmethod
    def known_at(cls, size: int) -> Q:
        return Q(seq__lte=size)


class Text(Recorded):
    """What a person typed, under SHA-256(salt ‖ words). A redaction empties salt and words; an entry says so."""

    id = None
    digest = models.CharField(max_length=64, primary_key=True)
    salt = models.BinaryField(max_length=16, null=True)
    words = models.TextField(null=True)

    class Meta(Recorded.Meta):
        indexes = [models.Index(fields=["entry", "digest"], name="text_of_entry")]  # verification


class Redaction(Fact):
    """These words were taken out, by whom the entry says, and why."""

    about: ClassVar[tuple[str, ...]] = ("text",)
    text = words(64)  # the digest under which they stood
    reason = free_text(null=False)

    class Meta(Fact.Meta):
        indexes = undated("redaction", "text")
