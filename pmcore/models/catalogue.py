"""Generic kinds of device, makers' models and their revisions."""

from pmcore.models.base import Fact, Thing, dated
from pmcore.models.fields import day, flag, to, words


class DeviceClass(Thing):
    """A generic kind, as "surgical table"."""


class ClassDetails(Fact):
    about = ("device_class",)
    device_class = to("DeviceClass")
    from_on = day()
    name = words(255)
    product_code = words(20, null=True)
    regulation = words(40, null=True)
    life_support = flag(null=True)  # unknown is not no

    class Meta(Fact.Meta):
        constraints, indexes = dated("classdetails", "device_class")


class DeviceModel(Thing):
    """A maker's model."""


class ModelDetails(Fact):
    about = ("device_model",)
    device_model = to("DeviceModel")
    from_on = day()
    maker = words(120)
    name = words(120)
    device_class = to("DeviceClass")
    # The energy sources that it runs on: release asks every function of each.
    mains = flag()
    battery = flag()
    manual = flag()

    class Meta(Fact.Meta):
        constraints, indexes = dated("modeldetails", "device_model")


class ModelRevision(Thing):
    device_model = to("DeviceModel")


class RevisionDetails(Fact):
    about = ("revision",)
    revision = to("ModelRevision")
    from_on = day()
    label = words(60)

    class Meta(Fact.Meta):
        constraints, indexes = dated("revisiondetails", "revision")
