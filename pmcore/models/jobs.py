"""Long work and readers of the history. These rows change; the queue only wakes somebody up to look at them."""

from django.db import models
from django.db.models import Q

from pmcore.engines.vocabulary import JobState


class Job(models.Model):
    """One piece of long work. A worker takes it for a lease, renews that, and finishes; what expires is taken again."""

    kind = models.CharField(max_length=40)
    unique_key = models.CharField(max_length=120)
    arguments = models.JSONField(default=dict)
    state = models.CharField(max_length=10, default=JobState.WAITING)
    asked_at = models.DateTimeField()
    asked_by = models.BigIntegerField(null=True)
    attempts = models.IntegerField(default=0)
    lease = models.UUIDField(null=True)
    leased_until_at = models.DateTimeField(null=True)
    progress = models.CharField(max_length=200, blank=True)
    ended_at = models.DateTimeField(null=True)
    answer = models.JSONField(null=True)
    error = models.TextField(blank=True)

    class Meta:
        constraints = [models.UniqueConstraint(fields=["kind", "unique_key"], name="job_once")]
        indexes = [
            # What the sweep looks for: work that nobody holds.
            models.Index(
                fields=["leased_until_at"],
                condition=Q(state__in=[JobState.WAITING, JobState.RUNNING]),
                name="job_unfinished",
            )
        ]

    def __str__(self) -> str:
        return f"{self.kind} {self.unique_key}"


class Follower(models.Model):
    """How far a reader of the history has come. It reads entries in order and never one twice."""

    name = models.CharField(max_length=60, primary_key=True)
    seen = models.BigIntegerField(default=0)

    def __str__(self) -> str:
        return f"{self.name} has seen {self.seen}"
