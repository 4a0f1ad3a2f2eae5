from django.urls import URLPattern, URLResolver, include, path, re_path

from api.alert_rules import AlertRules, AlertRuleTerms
from api.alerts import Acknowledgement, Alerts
from api.areas import Areas
from api.assignments import Assignments
from api.compliance import Compliance, ComplianceChanges
from api.device_classes import DeviceClasses
from api.device_models import DeviceModels
from api.devices import Device, Devices
from api.due_inspections import DueInspection, DueInspections
from api.fault_reports import FaultReports
from api.findings import Findings
from api.heads import Heads
from api.history_exports import HistoryExport, HistoryExportFile, HistoryExports
from api.holds import Holds
from api.inspection_plans import InspectionPlans
from api.inspections import Inspection, Inspections
from api.procedures import Procedure, Procedures
from api.releases import Releases
from api.reliability import Comparisons, FailureRates, Standouts
from api.schema import Schema
from api.sites import Sites
from api.unknown import Unknown
from pmcore.queries.exports import FILES

version_1: list[URLPattern | URLResolver] = [
    path("schema/", Schema.as_view()),
    path("sites/", Sites.as_view()),
    path("areas/", Areas.as_view()),
    path("device-classes/", DeviceClasses.as_view()),
    path("device-models/", DeviceModels.as_view()),
    path("devices/", Devices.as_view()),
    path("devices/<key:device>/", Device.as_view()),
    path("procedures/", Procedures.as_view()),
    path("procedures/<key:procedure>/", Procedure.as_view()),
    path("inspection-plans/", InspectionPlans.as_view()),
    path("due-inspections/", DueInspections.as_view()),
    path("due-inspections/<key:due>/", DueInspection.as_view()),
    path("assignments/", Assignments.as_view()),
    path("inspections/", Inspections.as_view()),
    path("inspections/<key:inspection>/", Inspection.as_view()),
    path("fault-reports/", FaultReports.as_view()),
    path("findings/", Findings.as_view()),
    path("holds/", Holds.as_view()),
    path("releases/", Releases.as_view()),
    path("compliance/", Compliance.as_view()),
    path("compliance/changes/", ComplianceChanges.as_view()),
    path("failure-rates/", FailureRates.as_view()),
    path("comparisons/", Comparisons.as_view()),
    path("standouts/", Standouts.as_view()),
    path("history-exports/", HistoryExports.as_view()),
    path("history-exports/<key:export>/", HistoryExport.as_view()),
    *(path(f"history-exports/<key:export>/{file}", HistoryExportFile.as_view(file=file)) for file in FILES.values()),
    path("heads/", Heads.as_view()),
    path("alerts/", Alerts.as_view()),
    path("alerts/<key:alert>/acknowledgement/", Acknowledgement.as_view()),
    path("alert-rules/", AlertRules.as_view()),
    path("alert-rules/<key:rule>/terms/", AlertRuleTerms.as_view()),
]
urlpatterns: list[URLPattern | URLResolver] = [
    path("api/v1/", include(version_1)),
    re_path("^api/", Unknown.as_view()),
]
