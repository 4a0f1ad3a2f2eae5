"""Who signs in. Accounts and tokens are no facts: they change, and say nothing about the past."""

from django.contrib.auth.models import AbstractUser
from django.db import models


class Account(AbstractUser):
    """A way to sign in. What its person may do, and where, is in the record."""

    person = models.OneToOneField("pmcore.Person", on_delete=models.PROTECT, null=True, related_name="+")


class Token(models.Model):
    """A key for the API, shown once and kept as a hash."""

    account = models.ForeignKey(Account, on_delete=models.PROTECT, related_name="tokens")
    digest = models.CharField(max_length=64, unique=True)
    label = models.CharField(max_length=80)
    made_at = models.DateTimeField()
    expires_at = models.DateTimeField(null=True)
    revoked_at = models.DateTimeField(null=True)
    # What it is narrowed to, beyond its account: nothing may be written, at these sites only, in these days only.
    read_only = models.BooleanField(default=False)
    sites = models.JSONField(null=True)
    from_on = models.DateField(null=True)
    to_on = models.DateField(null=True)

    def __str__(self) -> str:
        return f"{self.label} of {self.account}"
