"""Procedures: a thing, its versions, and of each version the sheet with its steps."""

from django.db import models
from django.db.models import Q

from pmcore.engines.vocabulary import EnergySource, StepKind, Subsystem
from pmcore.models.base import Fact, Part, Thing, dated, undated
from pmcore.models.fields import code, day, flag, integer, quantity, to, words


class Procedure(Thing):
    """What is to be done, whatever its version."""


class ProcedureDetails(Fact):
    about = ("procedure",)
    procedure = to("Procedure")
    from_on = day()
    name = words(160)
    withdrawn = flag()

    class Meta(Fact.Meta):
        constraints, indexes = dated("proceduredetails", "procedure")


class ProcedureVersion(Thing):
    procedure = to("Procedure")
    number = integer()

    class Meta(Thing.Meta):
        constraints = [models.UniqueConstraint(fields=["procedure", "number"], name="procedureversion_number")]


class ProcedureSheet(Fact):
    """The whole content of a version. Readings refer to a step by its key, which outlives a corrected sheet."""

    about = ("version",)
    version = to("ProcedureVersion")
    title = words(160)
    minutes = integer()
    people = integer()
    source = words(200, null=True)

    class Meta(Fact.Meta):
        constraints = [
            models.UniqueConstraint(fields=["version"], condition=Q(replaced_by__isnull=True), name="sheet_is_one")
        ]
        indexes = undated("proceduresheet", "version")


class Step(Part):
    """One line. Which columns are filled depends on its kind; limits are strings with a unit, or come from a table."""

    whole = "sheet"
    sheet = to("ProcedureSheet")
    number = integer()
    key = words(60)
    kind = code(StepKind)
    prompt = words(300)
    mandatory = flag()
    not_applicable_allowed = flag()
    subsystem = code(Subsystem, null=True)
    position = to("PartPosition", null=True)
    energy_source = code(EnergySource, null=True)
    minutes = integer(null=True)
    unit = words(20, null=True)
    low = quantity()
    low_included = flag(null=True)
    high = quantity()
    high_included = flag(null=True)
    limit = to("Limit", null=True)
    expected_count = integer(null=True)
    as_left_wanted = flag(null=True)
    instrument_wanted = flag(null=True)

    class Meta(Part.Meta):
        indexes = [models.Index(fields=["sheet"], name="step_whole")]


class Caution(Part):
    """What the procedure warns of before anybody begins."""

    whole = "sheet"
    sheet = to("ProcedureSheet")
    number = integer()
    prompt = words(300)

    class Meta(Part.Meta):
        indexes = [models.Index(fields=["sheet"], name="caution_whole")]


class CoveredProcedure(Part):
    """This version, done, also does that procedure."""

    whole = "sheet"
    sheet = to("ProcedureSheet")
    procedure = to("Procedure")

    class Meta(Part.Meta):
        indexes = [models.Index(fields=["sheet"], name="coveredprocedure_whole")]


class VersionApproval(Fact):
    """From when a version is the one to use, on whose word."""

    about = ("version",)
    version = to("ProcedureVersion")
    from_on = day()
    approved = flag()
    approved_by = to("Person")

    class Meta(Fact.Meta):
        constraints, indexes = dated("versionapproval", "version")
