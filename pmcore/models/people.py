"""People, what they may do, where, and the providers that some of them come from."""

from django.db import models

from pmcore.engines.vocabulary import Role, TokenDeed
from pmcore.models.base import Fact, Thing, dated, undated
from pmcore.models.fields import code, day, flag, free_text, to, words


class Provider(Thing):
    """A firm that inspects, repairs, lends or calibrates from outside."""


class ProviderDetails(Fact):
    about = ("provider",)
    provider = to("Provider")
    from_on = day()
    name = words(120)
    approved = flag()

    class Meta(Fact.Meta):
        constraints, indexes = dated("providerdetails", "provider")


class Person(Thing):
    """Somebody who acts or is named in the record. Name and address are free text: they can be redacted."""


class PersonDetails(Fact):
    about = ("person",)
    person = to("Person")
    from_on = day()
    name = free_text(null=False)
    email = free_text()
    provider = to("Provider", null=True)

    class Meta(Fact.Meta):
        constraints, indexes = dated("persondetails", "person")


class RoleHeld(Fact):
    """The one role that a person acts in from a day on; none ends it."""

    about = ("person",)
    person = to("Person")
    from_on = day()
    role = code(Role, null=True)

    class Meta(Fact.Meta):
        constraints, indexes = dated("roleheld", "person")


class SiteMembership(Fact):
    """At which sites a person acts."""

    about = ("person", "site")
    person = to("Person")
    site = to("Site")
    from_on = day()
    member = flag()

    class Meta(Fact.Meta):
        constraints, indexes = dated("sitemembership", "person", "site")


class SkillHeld(Fact):
    about = ("person", "skill")
    person = to("Person")
    skill = words(60)
    from_on = day()
    held = flag()

    class Meta(Fact.Meta):
        constraints, indexes = dated("skillheld", "person", "skill")


class TokenUse(Fact):
    """That a person's read-only token was used: for the first time on a day, or to ask for an export. `token` is the
    number under which it was given out."""

    about = ("person",)
    person = to("Person")
    used_on = day()
    deed = code(TokenDeed)
    token = models.BigIntegerField()
    label = free_text(null=False)

    class Meta(Fact.Meta):
        indexes = undated("tokenuse", "person")
