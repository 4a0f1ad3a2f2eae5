"""Replaceable parts: where they sit on a model, which are changed together, what is fitted."""

from pmcore.engines.vocabulary import DateCodeState, Subsystem
from pmcore.models.base import Fact, Thing, dated, several_a_day, undated
from pmcore.models.fields import code, day, flag, integer, quantity, to, words


class PartSet(Thing):
    """Positions that are replaced together."""

    device_model = to("DeviceModel")


class PartSetDetails(Fact):
    about = ("part_set",)
    part_set = to("PartSet")
    from_on = day()
    name = words(120)
    replace_after_months = integer(null=True)

    class Meta(Fact.Meta):
        constraints, indexes = dated("partsetdetails", "part_set")


class PartPosition(Thing):
    device_model = to("DeviceModel")


class PositionDetails(Fact):
    about = ("position",)
    position = to("PartPosition")
    from_on = day()
    label = words(120)
    subsystem = code(Subsystem)
    part_set = to("PartSet", null=True)
    flex_point = flag()
    fasteners = integer(null=True)

    class Meta(Fact.Meta):
        constraints, indexes = dated("positiondetails", "position")


class PartItem(Thing):
    """One physical part, followed from device to device."""


class ItemDetails(Fact):
    about = ("item",)
    item = to("PartItem")
    from_on = day()
    part_number = words(80, null=True)
    serial = words(80, null=True)
    date_code = words(40, null=True)
    date_code_state = code(DateCodeState, null=True)  # unreadable means unverified, not new
    made_on = day(null=True)
    capacity = quantity()
    capacity_unit = words(20, null=True)

    class Meta(Fact.Meta):
        constraints, indexes = dated("itemdetails", "item")


class PartInstall(Fact):
    """What sits in a position from a day on; none says that it was taken out. It may be changed twice in one repair.

    `fitted_on` is when the part began to age there, empty where nobody knows: unknown is never age zero.
    """

    about = ("device", "position")
    device = to("Device")
    position = to("PartPosition")
    from_on = day()
    item = to("PartItem", null=True)
    fitted_on = day(null=True)
    repair = to("Repair", null=True)
    planned = flag(null=True)

    class Meta(Fact.Meta):
        indexes = several_a_day("partinstall", "device", "position")
        indexes += undated("partinstall_item", "item")[:1]  # where a part has been
