"""Photos and reports. The file lies on disk under its hash; the fact holds hash, size and type."""

from django.db import models
from django.db.models import Q

from pmcore.models.base import Fact, undated
from pmcore.models.fields import free_text, words


class Attachment(Fact):
    """A file that belongs to any thing of the record."""

    about = ("thing",)
    thing = models.BigIntegerField()
    sha256 = words(64)
    size = models.BigIntegerField()
    media_type = words(80)
    name = free_text(null=False)  # what a sender calls a file may name somebody

    class Meta(Fact.Meta):
        constraints = [models.CheckConstraint(condition=Q(size__gte=0), name="attachment_size")]
        indexes = [
            *undated("attachment", "thing"),
            models.Index(fields=["sha256"], name="attachment_file"),  # which facts a file on disk belongs to
        ]
