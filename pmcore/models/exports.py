"""Exports of the history: that one was made is a fact. The heads that were signed are none: they speak of facts."""

from typing import ClassVar

from django.db import models
from django.db.models import Q

from pmcore.models.base import Fact, Part, Thing, undated
from pmcore.models.fields import day, to, words


class HistoryExport(Thing):
    """One export of the history, as it was built."""


class ExportStatement(Fact):
    """What was exported: the scope, the head's size and root, and the hashes of the files."""

    about = ("export",)
    export = to("HistoryExport")
    size = models.BigIntegerField()  # of the history that the export is of
    root = words(64)
    begins_on = day(null=True)
    ends_on = day(null=True)
    entries = models.BigIntegerField()
    ndjson_sha256 = words(64)
    csv_sha256 = words(64)
    pack_sha256 = words(64)
    asked_by = to("Person", null=True)

    class Meta(Fact.Meta):
        constraints = [
            models.UniqueConstraint(fields=["export"], condition=Q(replaced_by__isnull=True), name="exported_is_one")
        ]
        indexes = undated("exportstatement", "export")


class ExportedSite(Part):
    """One of the sites that the export was narrowed to; without any it was of all."""

    whole: ClassVar[str] = "statement"
    statement = to("ExportStatement")
    site = to("Site")

    class Meta(Part.Meta):
        indexes = [models.Index(fields=["statement"], name="exportedsite_whole")]


class SignedHead(models.Model):
    """Size and root of the history, signed. `key` and `note` as they are published: whoever holds both can check them
    with any tool for signed notes (C2SP). `at` is the moment of the last entry that the size counts."""

    size = models.BigIntegerField()
    root = models.BinaryField(max_length=32)
    at = models.DateTimeField()
    key = models.CharField(max_length=200)
    note = models.TextField()
    signed_at = models.DateTimeField()

    class Meta:
        constraints = [models.UniqueConstraint(fields=["key", "size"], name="signedhead_once")]

    def __str__(self) -> str:
        return f"head of {self.size} entries"
