"""Of what people are told without asking, and who said that they know."""

from django.db import models
from django.db.models import Q

from pmcore.engines.vocabulary import AlertKind, Role
from pmcore.models.base import Fact, Part, Thing, replaced_index, several_a_day
from pmcore.models.fields import code, day, flag, free_text, integer, moment, to, words


class AlertRule(Thing):
    """What kind of matter people are told of, at one site or (none) at every one."""

    kind = code(AlertKind)
    site = to("Site", null=True)


class AlertRuleTerms(Fact):
    """How a rule tells from a day on: at once, or in the letter of the morning, at this hour of the site's clock. Whom
    and when, its steps say."""

    about = ("rule",)
    rule = to("AlertRule")
    from_on = day()
    at_once = flag()
    hour = integer(null=True)
    enabled = flag()

    class Meta(Fact.Meta):
        indexes = several_a_day("alertruleterms", "rule")


class AlertStep(Part):
    """After (or before) so many days these people of the site are told; what is still undone climbs from step to
    step."""

    whole = "terms"
    terms = to("AlertRuleTerms")
    days = integer()
    role = code(Role)

    class Meta(Part.Meta):
        indexes = [models.Index(fields=["terms"], name="alertstep_whole")]


class AlertAcknowledgement(Fact):
    """A person says that they know. `thing`: the device or the test instrument; `alert_key`: of the alert, which is
    not in the record itself."""

    about = ("thing",)
    thing = models.BigIntegerField()
    alert_key = words(80)
    rule = to("AlertRule")
    days = integer()
    person = to("Person")
    acknowledged_at = moment()
    acknowledged_on = day()
    note = free_text()

    class Meta(Fact.Meta):
        constraints = [
            models.UniqueConstraint(
                fields=["alert_key", "person"], condition=Q(replaced_by__isnull=True), name="acknowledged_once"
            )
        ]
        indexes = [
            models.Index(fields=["thing"], name="acknowledgement_about"),
            models.Index(fields=["alert_key"], name="acknowledgement_alert"),  # who knows of an alert
            replaced_index("acknowledgement"),
        ]
