"""Sites with their zone, week and holidays; the areas in them."""

from pmcore.engines.vocabulary import AreaKind
from pmcore.models.base import Fact, Thing, dated
from pmcore.models.fields import code, day, flag, to, words


class Site(Thing):
    """A hospital or clinic."""


class SiteDetails(Fact):
    about = ("site",)
    site = to("Site")
    from_on = day()
    label = words(20)
    name = words(120)
    time_zone = words(64)  # IANA name; what happened on a day keeps its day whatever this says later

    class Meta(Fact.Meta):
        constraints, indexes = dated("sitedetails", "site")


class SiteWeek(Fact):
    """Which weekdays are working days: seven characters from Monday on, 1 or 0."""

    about = ("site",)
    site = to("Site")
    from_on = day()
    working = words(7)

    class Meta(Fact.Meta):
        constraints, indexes = dated("siteweek", "site")


class SiteHoliday(Fact):
    """A day on which nobody is expected to work; `from_on` is that day alone."""

    about = ("site",)
    site = to("Site")
    from_on = day()
    name = words(120)
    working = flag()  # true takes a day of the general calendar back

    class Meta(Fact.Meta):
        constraints, indexes = dated("siteholiday", "site")


class Area(Thing):
    """A theatre, ward, store or workshop. It cannot move to another site."""

    site = to("Site")


class AreaDetails(Fact):
    about = ("area",)
    area = to("Area")
    from_on = day()
    name = words(120)
    kind = code(AreaKind)
    closed = flag()

    class Meta(Fact.Meta):
        constraints, indexes = dated("areadetails", "area")
