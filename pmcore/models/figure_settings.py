"""Whatever a figure depends on is a fact: windows, limits, risk tables, single values."""

from django.db import models

from pmcore.engines.vocabulary import RiskClass, Unit, WindowKind
from pmcore.models.base import Fact, Part, Thing, dated
from pmcore.models.fields import code, day, flag, free_text, integer, quantity, to, words


class Setting(Thing):
    """One named value, as the working days after which an entry counts as late."""

    name = words(60)

    class Meta(Thing.Meta):
        constraints = [models.UniqueConstraint(fields=["name"], name="setting_name")]


class SettingValue(Fact):
    about = ("setting",)
    setting = to("Setting")
    from_on = day()
    value = words(200)

    class Meta(Fact.Meta):
        constraints, indexes = dated("settingvalue", "setting")


class IntervalLength(Thing):
    """A row of the table that gives each interval its window."""

    every = integer()
    unit = code(Unit)

    class Meta(Thing.Meta):
        constraints = [models.UniqueConstraint(fields=["every", "unit"], name="intervallength_once")]


class WindowValue(Fact):
    about = ("length",)
    length = to("IntervalLength")
    from_on = day()
    kind = code(WindowKind)
    before = integer(null=True)
    after = integer(null=True)
    source = words(200, null=True)

    class Meta(Fact.Meta):
        constraints, indexes = dated("windowvalue", "length")


class Limit(Thing):
    """A quantity that a standard, a maker or the department limits."""


class LimitValue(Fact):
    """A limit means nothing without edition, method and conditions; a department confirms it against its own copy."""

    about = ("limit",)
    limit = to("Limit")
    from_on = day()
    name = words(160)
    low = quantity()
    low_included = flag(null=True)
    high = quantity()
    high_included = flag(null=True)
    unit = words(20)
    method = words(120, null=True)
    conditions = words(200, null=True)
    edition = words(120)
    source = words(200)
    confirmed_by = to("Person", null=True)

    class Meta(Fact.Meta):
        constraints, indexes = dated("limitvalue", "limit")


class RiskTable(Thing):
    """A way to score equipment."""


class RiskTableValues(Fact):
    about = ("table",)
    table = to("RiskTable")
    from_on = day()
    name = words(120)
    source = words(200)
    included_from = integer()
    high_risk_from = integer()

    class Meta(Fact.Meta):
        constraints, indexes = dated("risktablevalues", "table")


class RiskPoints(Part):
    whole = "values"
    values = to("RiskTableValues")
    factor = words(40)
    level = words(60)
    points = integer()

    class Meta(Part.Meta):
        indexes = [models.Index(fields=["values"], name="riskpoints_whole")]


class RiskAssessment(Fact):
    """The scored assessment of a device class. One that lowers the risk class takes a second signature."""

    about = ("device_class",)
    device_class = to("DeviceClass")
    from_on = day()
    table = to("RiskTable")
    assessed_by = to("Person")
    second_signature = to("Person", null=True)

    class Meta(Fact.Meta):
        constraints, indexes = dated("riskassessment", "device_class")


class RiskScore(Part):
    """The level that the class has in one factor of the table; which factors there are, the table says."""

    whole = "assessment"
    assessment = to("RiskAssessment")
    factor = words(40)
    level = words(60)

    class Meta(Part.Meta):
        indexes = [models.Index(fields=["assessment"], name="riskscore_whole")]


class RiskOverride(Fact):
    """A person sets one device's risk class against the score, with a reason; downwards it takes a second one.
    No risk class ends it."""

    about = ("device",)
    device = to("Device")
    from_on = day()
    risk_class = code(RiskClass, null=True)
    reason = free_text(null=False)
    signed_by = to("Person")
    second_signature = to("Person", null=True)

    class Meta(Fact.Meta):
        constraints, indexes = dated("riskoverride", "device")
