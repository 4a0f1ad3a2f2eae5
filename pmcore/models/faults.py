"""What is wrong with a device, what forbids its use, what lifts that, and what was done about it."""

from django.db import models
from django.db.models import Q

from pmcore.engines.vocabulary import Cause, Discovery, FailureKind, HoldReason, PartNeedState, Severity, Subsystem
from pmcore.models.base import Fact, Part, Thing, dated, several_a_day, undated
from pmcore.models.fields import code, day, flag, free_text, integer, moment, to, words


class FaultReport(Thing):
    """What somebody in a clinical area saw."""

    device = to("Device")

    class Meta(Thing.Meta):
        indexes = [models.Index(fields=["device"], name="faultreport_device")]


class FaultDetails(Fact):
    about = ("fault_report",)
    fault_report = to("FaultReport")
    seen_at = moment()
    seen_on = day()
    area = to("Area", null=True)
    reported_by = to("Person", null=True)
    during_use = flag(null=True)
    account = free_text(null=False)

    class Meta(Fact.Meta):
        constraints = [
            models.UniqueConstraint(
                fields=["fault_report"], condition=Q(replaced_by__isnull=True), name="faultdetails_is_one"
            )
        ]
        indexes = undated("faultdetails", "fault_report")


class Finding(Thing):
    """Something wrong with a device."""

    device = to("Device")

    class Meta(Thing.Meta):
        indexes = [models.Index(fields=["device"], name="finding_device")]


class FindingDetails(Fact):
    """Findings with one root point to the first of them: together they are one failure. A new view of the cause
    is another fact, so that a figure can say what was believed when."""

    about = ("finding",)
    finding = to("Finding")
    from_on = day()
    discovered_on = day()
    discovery = code(Discovery)
    inspection = to("Inspection", null=True)
    step = words(60, null=True)
    fault_report = to("FaultReport", null=True)
    subsystem = code(Subsystem)
    position = to("PartPosition", null=True)
    item = to("PartItem", null=True)
    mode = free_text(null=False)
    cause = code(Cause)
    failure = code(FailureKind)
    severity = code(Severity)
    same_root_as = to("Finding", null=True)
    area = to("Area", null=True)
    training_on = day(null=True)
    second_person = to("Person", null=True)
    note = free_text()

    class Meta(Fact.Meta):
        constraints, indexes = dated("findingdetails", "finding")


class Hold(Thing):
    """A device may not be used."""

    device = to("Device")

    class Meta(Thing.Meta):
        indexes = [models.Index(fields=["device"], name="hold_device")]


class HoldDetails(Fact):
    about = ("hold",)
    hold = to("Hold")
    from_on = day()
    reason = code(HoldReason)
    finding = to("Finding", null=True)
    placed_by = to("Person", null=True)
    note = free_text()

    class Meta(Fact.Meta):
        constraints, indexes = dated("holddetails", "hold")


class Release(Thing):
    """The signed statement that lifts holds."""

    device = to("Device")

    class Meta(Thing.Meta):
        indexes = [models.Index(fields=["device"], name="release_device")]


class ReleaseStatement(Fact):
    about = ("release",)
    release = to("Release")
    signed_at = moment()
    signed_on = day()
    signed_by = to("Person")
    inspection = to("Inspection", null=True)
    restriction = free_text()
    note = free_text()

    class Meta(Fact.Meta):
        constraints = [
            models.UniqueConstraint(fields=["release"], condition=Q(replaced_by__isnull=True), name="statement_is_one")
        ]
        indexes = undated("releasestatement", "release")


class ReleasedHold(Part):
    whole = "statement"
    statement = to("ReleaseStatement")
    hold = to("Hold")

    class Meta(Part.Meta):
        indexes = [
            models.Index(fields=["statement"], name="releasedhold_whole"),
            models.Index(fields=["hold"], name="releasedhold_hold"),  # what lifted a hold
        ]


class Repair(Thing):
    """What was done about findings."""

    device = to("Device")

    class Meta(Thing.Meta):
        indexes = [models.Index(fields=["device"], name="repair_device")]


class RepairDetails(Fact):
    about = ("repair",)
    repair = to("Repair")
    started_at = moment()
    ended_at = moment(null=True)
    performed_on = day()
    person = to("Person", null=True)
    provider = to("Provider", null=True)
    account = free_text(null=False)

    class Meta(Fact.Meta):
        constraints = [
            models.UniqueConstraint(
                fields=["repair"], condition=Q(replaced_by__isnull=True), name="repairdetails_is_one"
            )
        ]
        indexes = undated("repairdetails", "repair")


class RepairedFinding(Part):
    whole = "details"
    details = to("RepairDetails")
    finding = to("Finding")

    class Meta(Part.Meta):
        indexes = [
            models.Index(fields=["details"], name="repairedfinding_whole"),
            models.Index(fields=["finding"], name="repairedfinding_finding"),  # what was done about a finding
        ]


class PartNeed(Thing):
    """Something that is still wanted for a device."""

    device = to("Device")

    class Meta(Thing.Meta):
        indexes = [models.Index(fields=["device"], name="partneed_device")]


class PartNeedDetails(Fact):
    """How far the matter has come; it may be asked for, ordered and delivered on one day."""

    about = ("need",)
    need = to("PartNeed")
    from_on = day()
    state = code(PartNeedState)
    finding = to("Finding", null=True)
    position = to("PartPosition", null=True)
    part_number = words(80, null=True)
    quantity = integer()
    expected_on = day(null=True)
    note = free_text()

    class Meta(Fact.Meta):
        indexes = several_a_day("partneeddetails", "need")
        constraints = [models.CheckConstraint(condition=Q(quantity__gte=1), name="partneed_quantity")]
