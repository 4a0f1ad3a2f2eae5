"""A device: who it is, where it is, whose it is, and whether it is in service."""

from django.db import models
from django.db.models import Q

from pmcore.engines.vocabulary import Departure, OwnershipKind, ServiceStateKind, UsageUnit
from pmcore.models.base import Fact, Thing, dated, replaced_index, several_a_day, undated
from pmcore.models.fields import code, day, flag, free_text, quantity, to, words


class Device(Thing):
    """One piece of equipment. What it is called is a fact about it, for that can be recorded wrongly."""


class DeviceIdentity(Fact):
    """Maker and model (by the device model) and serial number. Tags and places may change; this is only corrected."""

    about = ("device",)
    device = to("Device")
    device_model = to("DeviceModel")
    serial = words(80)

    class Meta(Fact.Meta):
        constraints = [
            models.UniqueConstraint(fields=["device"], condition=Q(replaced_by__isnull=True), name="device_is_one"),
            models.UniqueConstraint(
                fields=["device_model", "serial"], condition=Q(replaced_by__isnull=True), name="serial_is_one"
            ),
        ]
        indexes = undated("deviceidentity", "device")


class DeviceOrigin(Fact):
    """How it came, and the first day from which its history is known: before that day it earns no exposure."""

    about = ("device",)
    device = to("Device")
    known_from_on = day()
    acquired_on = day(null=True)
    made_on = day(null=True)
    found_in_use = flag()

    class Meta(Fact.Meta):
        constraints = [
            models.UniqueConstraint(fields=["device"], condition=Q(replaced_by__isnull=True), name="origin_is_one")
        ]
        indexes = undated("deviceorigin", "device")


class DeviceRevision(Fact):
    about = ("device",)
    device = to("Device")
    from_on = day()
    revision = to("ModelRevision")

    class Meta(Fact.Meta):
        constraints, indexes = dated("devicerevision", "device")


class TagHeld(Fact):
    """The label stuck on it; none says that it was taken off."""

    about = ("device",)
    device = to("Device")
    from_on = day()
    tag = words(40, null=True)

    class Meta(Fact.Meta):
        constraints, indexes = dated("tagheld", "device")
        indexes += [models.Index(fields=["tag"], name="tagheld_tag")]  # find a device by its tag


class Placement(Fact):
    """Where it stands; it may be moved several times a day."""

    about = ("device",)
    device = to("Device")
    from_on = day()
    area = to("Area")

    class Meta(Fact.Meta):
        indexes = several_a_day("placement", "device")
        indexes += [models.Index(fields=["area", "from_on"], name="placement_area")]  # what stands in an area


class Ownership(Fact):
    """Whose it is. Each arrival on loan or trial is a fact of its own, with the day it is to go back."""

    about = ("device",)
    device = to("Device")
    from_on = day()
    kind = code(OwnershipKind)
    provider = to("Provider", null=True)
    until_on = day(null=True)

    class Meta(Fact.Meta):
        constraints, indexes = dated("ownership", "device")


class Lending(Fact):
    """Ours, lent out: it is still due."""

    about = ("device",)
    device = to("Device")
    from_on = day()
    lent = flag()
    borrower = free_text()
    due_back_on = day(null=True)

    class Meta(Fact.Meta):
        constraints, indexes = dated("lending", "device")


class ServiceState(Fact):
    """In service, stored, not located, left. Stored suspends only what is sealed and in hand. It may be missed and
    found on one day."""

    about = ("device",)
    device = to("Device")
    from_on = day()
    state = code(ServiceStateKind)
    sealed = flag(null=True)
    in_hand = flag(null=True)
    last_seen_on = day(null=True)
    departure = code(Departure, null=True)
    note = free_text()

    class Meta(Fact.Meta):
        indexes = several_a_day("servicestate", "device")


class UseSeen(Fact):
    """It was seen in use on this day; before its incoming inspection it should not have been."""

    about = ("device",)
    device = to("Device")
    from_on = day()
    note = free_text()

    class Meta(Fact.Meta):
        constraints, indexes = dated("useseen", "device")


class Succession(Fact):
    """Another device took this one's place. It inherits no credit."""

    about = ("device",)
    device = to("Device")
    from_on = day()
    successor = to("Device")

    class Meta(Fact.Meta):
        constraints, indexes = dated("succession", "device")


class MeterReading(Fact):
    """Hours or cycles read off the device itself."""

    about = ("device", "unit")
    device = to("Device")
    unit = code(UsageUnit)
    from_on = day()
    value = quantity(null=False)

    class Meta(Fact.Meta):
        constraints, indexes = dated("meterreading", "device", "unit")


class CarriedOver(Fact):
    """A last-done date that came with the inventory. It sets the next due date and never enters a numerator."""

    about = ("device", "procedure")
    device = to("Device")
    procedure = to("Procedure")
    performed_on = day()

    class Meta(Fact.Meta):
        constraints = [
            models.UniqueConstraint(
                fields=["device", "procedure"], condition=Q(replaced_by__isnull=True), name="carriedover_is_one"
            )
        ]
        indexes = [models.Index(fields=["device"], name="carriedover_about"), replaced_index("carriedover")]
