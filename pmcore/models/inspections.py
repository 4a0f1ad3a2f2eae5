"""Who does what on which day; what was done on a device, and what was read."""

from django.db import models
from django.db.models import F, Q

from pmcore.engines.vocabulary import CalibrationOutcome, DateCodeState, EnergySource, Half, InspectionKind, Outcome
from pmcore.models.base import Fact, Part, Thing, dated, replaced_index, several_a_day, undated
from pmcore.models.fields import code, day, flag, free_text, integer, moment, quantity, to, words


class Publication(Thing):
    """A roster as it was given out."""

    site = to("Site")
    starts_on = day()
    ends_on = day()


class Assignment(Fact):
    """That a person does a due inspection, on which day and half; `assigned` false takes them off. Work for two people
    has a fact for each of them. A day's plan may change several times."""

    about = ("due_inspection", "person")
    due_inspection = to("DueInspection")
    person = to("Person")
    from_on = day()
    assigned = flag()
    on = day(null=True)
    half = code(Half, null=True)
    publication = to("Publication", null=True)

    class Meta(Fact.Meta):
        indexes = several_a_day("assignment", "due_inspection", "person")
        indexes += [models.Index(fields=["person", "on"], name="assignment_of_person")]  # a technician's week


class Inspection(Thing):
    """Something done on one device. It may span several days: each stretch of work is a session."""

    device = to("Device")

    class Meta(Thing.Meta):
        indexes = [models.Index(fields=["device"], name="inspection_device")]


class InspectionSession(Fact):
    """One stretch of work by one person, with its readings.

    `performed_at` is the moment of its last answered step, `performed_on` that moment's day at the site; both stand as
    they were recorded, whatever zone data says later.
    """

    about = ("inspection",)
    inspection = to("Inspection")
    kind = code(InspectionKind)
    version = to("ProcedureVersion")
    person = to("Person", null=True)
    provider = to("Provider", null=True)
    site = to("Site")
    started_at = moment()
    ended_at = moment()
    performed_at = moment()
    performed_on = day()
    decontaminated = flag(null=True)
    note = free_text()

    class Meta(Fact.Meta):
        constraints = [
            models.CheckConstraint(
                condition=Q(started_at__lte=F("performed_at")) & Q(performed_at__lte=F("ended_at")),
                name="session_in_order",
            )
        ]
        indexes = [
            *undated("inspectionsession", "inspection"),
            models.Index(fields=["performed_on"], name="inspectionsession_day"),  # what was done in a month
        ]


class Reading(Part):
    """How one step was answered. Numbers are strings with a unit; pairs are two axes, or left and right."""

    whole = "session"
    session = to("InspectionSession")
    step = words(60)
    energy_source = code(EnergySource, null=True)
    outcome = code(Outcome)
    as_found = quantity()
    as_found_second = quantity()
    as_left = quantity()
    as_left_second = quantity()
    unit = words(20, null=True)
    date_code = words(40, null=True)
    date_code_state = code(DateCodeState, null=True)
    # It works, and its users can operate it: two answers.
    operable = flag(null=True)
    attempts = integer(null=True)
    helper = to("Person", null=True)
    instrument = to("TestInstrument", null=True)
    note = free_text()

    class Meta(Part.Meta):
        constraints = [
            models.CheckConstraint(
                condition=Q(unit__isnull=False)
                | Q(
                    as_found__isnull=True,
                    as_found_second__isnull=True,
                    as_left__isnull=True,
                    as_left_second__isnull=True,
                ),
                name="reading_has_unit",
            )
        ]
        indexes = [
            models.Index(fields=["session"], name="reading_whole"),
            # Which readings an instrument touched; most have none.
            models.Index(fields=["instrument"], name="reading_instrument", condition=Q(instrument__isnull=False)),
        ]


class TestInstrument(Thing):
    """A calibrated meter."""

    __test__ = False  # the class is no test, whatever its name begins with


class InstrumentDetails(Fact):
    about = ("instrument",)
    instrument = to("TestInstrument")
    from_on = day()
    site = to("Site")
    label = words(60)
    maker = words(120)
    model = words(120)
    serial = words(80)
    retired = flag()

    class Meta(Fact.Meta):
        constraints, indexes = dated("instrumentdetails", "instrument")


class Calibration(Fact):
    """When an instrument was checked, with what result, and until when that is good."""

    about = ("instrument",)
    instrument = to("TestInstrument")
    performed_on = day()
    good_until_on = day()
    outcome = code(CalibrationOutcome)
    certificate = words(80, null=True)
    provider = to("Provider", null=True)
    note = free_text()

    class Meta(Fact.Meta):
        indexes = [
            models.Index(fields=["instrument", "performed_on"], name="calibration_about"),
            replaced_index("calibration"),
        ]


class DoubtDecision(Fact):
    """A named person decides about an inspection whose instrument was found out of tolerance later."""

    about = ("inspection", "instrument")
    inspection = to("Inspection")
    instrument = to("TestInstrument")
    from_on = day()
    accepted = flag()
    decided_by = to("Person")
    reason = free_text(null=False)

    class Meta(Fact.Meta):
        constraints, indexes = dated("doubtdecision", "inspection", "instrument")
