"""Alerts, who was told of them, and the letters that carry them. These rows change, and are no part of the record: what
calls for an alert, and who said that they know, is in there."""

from django.db import models
from django.db.models import Q

from pmcore.engines.vocabulary import MailState
from pmcore.models.places import Site


class Alert(models.Model):
    """A matter that people must be told of, once for each step of a rule. `about`: the id of the due inspection, the
    hold or the test instrument; `told_on`: the site's day; `parameters`: what was so then, for the sentence."""

    unique_key = models.CharField(max_length=80, unique=True)
    rule = models.BigIntegerField()
    kind = models.CharField(max_length=40)
    days = models.IntegerField()
    site = models.BigIntegerField()
    about = models.BigIntegerField()
    device = models.BigIntegerField(null=True)
    parameters = models.JSONField(default=dict)
    told_on = models.DateField()
    made_at = models.DateTimeField()
    run = models.UUIDField()  # of the run that made it: of two at once, one did
    over_at = models.DateTimeField(null=True)  # seen to be done with; kept up to date for the count on every page

    class Meta:
        indexes = [
            models.Index(fields=["run"], name="alert_run"),
            models.Index(fields=["device"], name="alert_device"),  # what was written about is looked at again
            models.Index(fields=["site"], condition=Q(over_at__isnull=True), name="alert_open"),
        ]

    def __str__(self) -> str:
        return self.unique_key


class Mail(models.Model):
    """A letter to one person: of a morning, or of what is told at once. A worker takes it for a lease by
    compare-and-set. `handed_over`: from here on the server may have it, whether or not we heard so."""

    unique_key = models.CharField(max_length=120, unique=True)
    message_id = models.CharField(max_length=120)
    person = models.BigIntegerField()
    at_once = models.BooleanField()
    day = models.DateField()  # the person's, in `time_zone`
    time_zone = models.CharField(max_length=60)
    state = models.CharField(max_length=10, default=MailState.WAITING)
    next_try_at = models.DateTimeField()
    attempts = models.IntegerField(default=0)
    lease = models.UUIDField(null=True)
    leased_until_at = models.DateTimeField(null=True)
    handed_over = models.BooleanField(default=False)
    perhaps_twice = models.BooleanField(default=False)
    server_silent = models.BooleanField(default=False)  # the last try did not get as far as an answer
    sent_at = models.DateTimeField(null=True)
    error = models.TextField(blank=True)

    class Meta:
        indexes = [
            models.Index(
                fields=["next_try_at"],
                condition=Q(state__in=[MailState.WAITING, MailState.SENDING]),
                name="mail_unsent",
            )
        ]

    def __str__(self) -> str:
        return self.unique_key


class Delivery(models.Model):
    """That one person is told of an alert, by one channel. In the application it is done by being there; by mail, its
    letter says how far it is."""

    alert = models.ForeignKey(Alert, on_delete=models.PROTECT, related_name="deliveries")
    person = models.BigIntegerField()
    channel = models.CharField(max_length=10)
    mail = models.ForeignKey(Mail, on_delete=models.PROTECT, null=True, related_name="deliveries")

    class Meta:
        constraints = [models.UniqueConstraint(fields=["alert", "person", "channel"], name="delivery_once")]
        indexes = [models.Index(fields=["person", "channel"], name="delivery_person")]

    def __str__(self) -> str:
        return f"{self.alert_id} to {self.person} by {self.channel}"


class AlertSweep(models.Model):
    """The site's day for which all of its matters were last looked at. Whoever wants that done again raises `asked`;
    the sweep that has done it raises `answered` to what it found asked when it began."""

    site = models.OneToOneField(Site, on_delete=models.PROTECT, primary_key=True, related_name="+")
    swept_on = models.DateField(null=True)
    asked = models.BigIntegerField(default=0)
    answered = models.BigIntegerField(default=0)

    def __str__(self) -> str:
        return f"site {self.site_id} was looked at for {self.swept_on}"
