"""Inspection plans, the due inspections that they call for, and what is said when one is not done."""

from django.db import models
from django.db.models import F, Q

from pmcore.engines.vocabulary import (
    AttemptOutcome,
    Basis,
    PlanBasis,
    ReasonCode,
    Unit,
    UsageUnit,
    WindowKind,
    WithdrawalReason,
)
from pmcore.models.base import Fact, Thing, dated, just_one_of, undated
from pmcore.models.fields import code, day, flag, free_text, integer, quantity, to, words


class InspectionPlan(Thing):
    """Which devices get which procedure, how often, on what basis. A plan is ended, never deleted."""


class PlanTerms(Fact):
    """What a plan says from a day on, approved by a person."""

    about = ("plan",)
    plan = to("InspectionPlan")
    from_on = day()
    name = words(160)
    device_class = to("DeviceClass", null=True)
    device_model = to("DeviceModel", null=True)
    device = to("Device", null=True)
    procedure = to("Procedure")
    every = integer()
    unit = code(Unit)
    counts_from = code(Basis)
    anchor_on = day(null=True)  # empty: each device counts from its own first day
    window = code(WindowKind)
    window_before = integer(null=True)
    window_after = integer(null=True)
    usage_limit = quantity()
    usage_unit = code(UsageUnit, null=True)
    basis = code(PlanBasis)
    basis_note = free_text()
    ended = flag()
    approved_by = to("Person")
    second_signature = to("Person", null=True)

    class Meta(Fact.Meta):
        constraints, indexes = dated("planterms", "plan")
        constraints += [
            just_one_of("plan_for_one_kind", "device_class", "device_model", "device"),
            models.CheckConstraint(condition=Q(every__gte=1), name="plan_interval_positive"),
            models.CheckConstraint(
                condition=Q(usage_limit__isnull=True, usage_unit__isnull=True)
                | Q(usage_limit__isnull=False, usage_unit__isnull=False),
                name="plan_usage_has_unit",
            ),
        ]


class PlanAnchor(Fact):
    """For one device the plan counts from this day instead."""

    about = ("plan", "device")
    plan = to("InspectionPlan")
    device = to("Device")
    from_on = day()
    anchor_on = day()
    note = free_text()

    class Meta(Fact.Meta):
        constraints, indexes = dated("plananchor", "plan", "device")


class NoPlanNeeded(Fact):
    """A signed statement that a device needs no plan; `needed` true takes it back."""

    about = ("device",)
    device = to("Device")
    from_on = day()
    needed = flag()
    reason = free_text(null=False)
    signed_by = to("Person")

    class Meta(Fact.Meta):
        constraints, indexes = dated("noplanneeded", "device")


class DueInspection(Thing):
    """One occurrence that a plan calls for. Its dates never change; that it was withdrawn is a fact about it."""

    device = to("Device")
    plan = to("InspectionPlan")
    procedure = to("Procedure")
    due_on = day()
    opens_on = day()
    closes_on = day()
    counted_from_on = day(null=True)  # the performed day that a floating interval ran from

    class Meta(Thing.Meta):
        constraints = [
            models.CheckConstraint(
                condition=Q(opens_on__lte=F("due_on")) & Q(due_on__lte=F("closes_on")), name="dueinspection_window"
            ),
        ]
        indexes = [
            # A device's due inspections. Not unique: after a withdrawal the same day may be called for with another
            # window. That none is written twice, `services.generate_due` sees to under the lock.
            models.Index(fields=["device", "plan", "due_on"], name="dueinspection_of_device"),
            models.Index(fields=["closes_on"], name="dueinspection_closes"),  # the windows that closed in a month
        ]


class Withdrawal(Fact):
    about = ("due_inspection",)
    due_inspection = to("DueInspection")
    from_on = day()
    withdrawn = flag()
    reason = code(WithdrawalReason)
    note = free_text()

    class Meta(Fact.Meta):
        constraints, indexes = dated("withdrawal", "due_inspection")


class Attempt(Fact):
    """Somebody went to do it and could not: evidence for a reason."""

    about = ("due_inspection",)
    due_inspection = to("DueInspection")
    tried_at = models.DateTimeField()
    tried_on = day()
    outcome = code(AttemptOutcome)
    tried_by = to("Person")
    area = to("Area", null=True)
    note = free_text()

    class Meta(Fact.Meta):
        indexes = undated("attempt", "due_inspection")


class ReasonNotDone(Fact):
    """Why one was not done. It never improves the headline."""

    about = ("due_inspection",)
    due_inspection = to("DueInspection")
    from_on = day()
    reason = code(ReasonCode)
    hold = to("Hold", null=True)
    note = free_text()

    class Meta(Fact.Meta):
        constraints, indexes = dated("reasonnotdone", "due_inspection")
