"""Every kind of entry: what it is about, and which rows it may hold. Nothing else can be appended.

A correction is an entry of the same kind that replaces facts; without rows of its own it takes them back.
A kind, once written, stays: its body stands in `tests/services/golden_bodies.json`.
"""

from dataclasses import dataclass

from pmcore.models import (
    alert_rules,
    attachments,
    catalogue,
    devices,
    entry,
    exports,
    faults,
    figure_settings,
    inspections,
    part_positions,
    people,
    places,
    plans,
    procedures,
)
from pmcore.models.base import Recorded, Thing


@dataclass(frozen=True, slots=True, eq=False)
class Kind:
    """`subject`: the thing that an entry of this kind is about (none: any thing). `rows`: the tables it may write."""

    name: str
    subject: type[Thing] | None
    rows: frozenset[type[Recorded]]


_OPENED_WITH_A_DEVICE = (
    devices.DeviceIdentity,
    devices.DeviceOrigin,
    devices.DeviceRevision,
    devices.TagHeld,
    devices.Placement,
    devices.Ownership,
    devices.ServiceState,
    devices.CarriedOver,
)
_FOUND = (faults.Finding, faults.FindingDetails, faults.Hold, faults.HoldDetails)

_KINDS: dict[str, tuple[type[Thing] | None, tuple[type[Recorded], ...]]] = {
    # places
    "site_opened": (places.Site, (places.Site, places.SiteDetails, places.SiteWeek)),
    "site_described": (places.Site, (places.SiteDetails, places.SiteWeek)),
    "holidays_set": (places.Site, (places.SiteHoliday,)),
    "area_opened": (places.Area, (places.Area, places.AreaDetails)),
    "area_described": (places.Area, (places.AreaDetails,)),
    # people
    "provider_registered": (people.Provider, (people.Provider, people.ProviderDetails)),
    "provider_described": (people.Provider, (people.ProviderDetails,)),
    "person_registered": (
        people.Person,
        (people.Person, people.PersonDetails, people.RoleHeld, people.SiteMembership, people.SkillHeld),
    ),
    "person_described": (people.Person, (people.PersonDetails,)),
    "role_given": (people.Person, (people.RoleHeld,)),
    "membership_set": (people.Person, (people.SiteMembership,)),
    "skill_set": (people.Person, (people.SkillHeld,)),
    # catalogue
    "class_registered": (catalogue.DeviceClass, (catalogue.DeviceClass, catalogue.ClassDetails)),
    "class_described": (catalogue.DeviceClass, (catalogue.ClassDetails,)),
    "model_registered": (catalogue.DeviceModel, (catalogue.DeviceModel, catalogue.ModelDetails)),
    "model_described": (catalogue.DeviceModel, (catalogue.ModelDetails,)),
    "revision_registered": (catalogue.ModelRevision, (catalogue.ModelRevision, catalogue.RevisionDetails)),
    "revision_described": (catalogue.ModelRevision, (catalogue.RevisionDetails,)),
    # parts of a model
    "part_set_registered": (part_positions.PartSet, (part_positions.PartSet, part_positions.PartSetDetails)),
    "part_set_described": (part_positions.PartSet, (part_positions.PartSetDetails,)),
    "position_registered": (
        part_positions.PartPosition,
        (part_positions.PartPosition, part_positions.PositionDetails),
    ),
    "position_described": (part_positions.PartPosition, (part_positions.PositionDetails,)),
    "part_registered": (part_positions.PartItem, (part_positions.PartItem, part_positions.ItemDetails)),
    "part_described": (part_positions.PartItem, (part_positions.ItemDetails,)),
    # devices
    "device_registered": (devices.Device, (devices.Device, *_OPENED_WITH_A_DEVICE)),
    "device_identified": (devices.Device, (devices.DeviceIdentity, devices.DeviceOrigin)),
    "revision_set": (devices.Device, (devices.DeviceRevision,)),
    "tag_set": (devices.Device, (devices.TagHeld,)),
    "device_placed": (devices.Device, (devices.Placement,)),
    "ownership_set": (devices.Device, (devices.Ownership,)),
    "lending_set": (devices.Device, (devices.Lending,)),
    "service_state_set": (devices.Device, (devices.ServiceState, faults.Hold, faults.HoldDetails)),
    "use_seen": (devices.Device, (devices.UseSeen,)),
    "device_succeeded": (devices.Device, (devices.Succession,)),
    "meter_read": (devices.Device, (devices.MeterReading,)),
    "carried_over": (devices.Device, (devices.CarriedOver,)),
    "part_fitted": (
        devices.Device,
        (
            part_positions.PartInstall,
            part_positions.PartItem,
            part_positions.ItemDetails,
            faults.Hold,
            faults.HoldDetails,
        ),
    ),
    "file_attached": (None, (attachments.Attachment,)),
    # procedures
    "procedure_registered": (procedures.Procedure, (procedures.Procedure, procedures.ProcedureDetails)),
    "procedure_described": (procedures.Procedure, (procedures.ProcedureDetails,)),
    "version_written": (
        procedures.ProcedureVersion,
        (
            procedures.ProcedureVersion,
            procedures.ProcedureSheet,
            procedures.Step,
            procedures.Caution,
            procedures.CoveredProcedure,
        ),
    ),
    "version_approved": (procedures.ProcedureVersion, (procedures.VersionApproval,)),
    # settings that figures depend on
    "setting_named": (figure_settings.Setting, (figure_settings.Setting, figure_settings.SettingValue)),
    "setting_changed": (figure_settings.Setting, (figure_settings.SettingValue,)),
    "window_named": (figure_settings.IntervalLength, (figure_settings.IntervalLength, figure_settings.WindowValue)),
    "window_changed": (figure_settings.IntervalLength, (figure_settings.WindowValue,)),
    "limit_named": (figure_settings.Limit, (figure_settings.Limit, figure_settings.LimitValue)),
    "limit_changed": (figure_settings.Limit, (figure_settings.LimitValue,)),
    "risk_table_named": (
        figure_settings.RiskTable,
        (figure_settings.RiskTable, figure_settings.RiskTableValues, figure_settings.RiskPoints),
    ),
    "risk_table_changed": (
        figure_settings.RiskTable,
        (figure_settings.RiskTableValues, figure_settings.RiskPoints),
    ),
    "risk_assessed": (catalogue.DeviceClass, (figure_settings.RiskAssessment, figure_settings.RiskScore)),
    "risk_overridden": (devices.Device, (figure_settings.RiskOverride,)),
    # plans and due inspections
    "plan_made": (plans.InspectionPlan, (plans.InspectionPlan, plans.PlanTerms)),
    "plan_changed": (plans.InspectionPlan, (plans.PlanTerms,)),
    "plan_anchored": (devices.Device, (plans.PlanAnchor,)),
    "no_plan_needed": (devices.Device, (plans.NoPlanNeeded,)),
    "inspections_due": (devices.Device, (plans.DueInspection,)),
    "due_withdrawn": (devices.Device, (plans.Withdrawal,)),
    "attempt_made": (devices.Device, (plans.Attempt,)),
    "reason_recorded": (devices.Device, (plans.ReasonNotDone,)),
    # work
    "roster_published": (inspections.Publication, (inspections.Publication,)),
    "inspection_assigned": (devices.Device, (inspections.Assignment,)),
    "inspection_recorded": (
        devices.Device,
        (inspections.Inspection, inspections.InspectionSession, inspections.Reading, plans.PlanAnchor, *_FOUND),
    ),
    "doubt_decided": (devices.Device, (inspections.DoubtDecision,)),
    "instrument_registered": (
        inspections.TestInstrument,
        (inspections.TestInstrument, inspections.InstrumentDetails, inspections.Calibration),
    ),
    "instrument_described": (inspections.TestInstrument, (inspections.InstrumentDetails,)),
    "instrument_calibrated": (inspections.TestInstrument, (inspections.Calibration,)),
    # faults
    "fault_reported": (devices.Device, (faults.FaultReport, faults.FaultDetails, faults.Hold, faults.HoldDetails)),
    "finding_made": (devices.Device, _FOUND),
    "hold_placed": (devices.Device, (faults.Hold, faults.HoldDetails)),
    "release_signed": (devices.Device, (faults.Release, faults.ReleaseStatement, faults.ReleasedHold)),
    "repair_done": (
        devices.Device,
        (
            faults.Repair,
            faults.RepairDetails,
            faults.RepairedFinding,
            part_positions.PartInstall,
            part_positions.PartItem,
            part_positions.ItemDetails,
            faults.Hold,
            faults.HoldDetails,
        ),
    ),
    "part_wanted": (devices.Device, (faults.PartNeed, faults.PartNeedDetails)),
    # what people are told
    "alert_rule_made": (
        alert_rules.AlertRule,
        (alert_rules.AlertRule, alert_rules.AlertRuleTerms, alert_rules.AlertStep),
    ),
    "alert_rule_changed": (alert_rules.AlertRule, (alert_rules.AlertRuleTerms, alert_rules.AlertStep)),
    "alert_acknowledged": (None, (alert_rules.AlertAcknowledgement,)),
    # the record itself
    "text_redacted": (None, (entry.Redaction,)),
    "history_exported": (
        exports.HistoryExport,
        (exports.HistoryExport, exports.ExportStatement, exports.ExportedSite),
    ),
    "token_used": (people.Person, (people.TokenUse,)),
}

KINDS: dict[str, Kind] = {name: Kind(name, subject, frozenset(rows)) for name, (subject, rows) in _KINDS.items()}

RECORDED: tuple[type[Recorded], ...] = tuple(
    sorted({model for kind in KINDS.values() for model in kind.rows}, key=lambda model: model.record_name())
)
"""Every table whose rows have ids from the one counter."""

THINGS: tuple[type[Thing], ...] = tuple(model for model in RECORDED if issubclass(model, Thing))
