from django.urls import path, re_path

from api import (
    areas,
    compliance,
    device_classes,
    device_models,
    devices,
    inspection_plans,
    nothing,
    procedures,
    schema,
    sites,
)

urlpatterns = [
    path("sites/", sites.Sites.as_view()),
    path("areas/", areas.Areas.as_view()),
    path("device-classes/", device_classes.DeviceClasses.as_view()),
    path("device-models/", device_models.DeviceModels.as_view()),
    path("devices/", devices.Devices.as_view()),
    path("devices/<key:device>/", devices.Device.as_view()),
    path("procedures/", procedures.Procedures.as_view()),
    path("procedures/<key:procedure>/", procedures.Procedure.as_view()),
    path("inspection-plans/", inspection_plans.InspectionPlans.as_view()),
    path("compliance/", compliance.Compliance.as_view()),
    path("compliance/changes/", compliance.ComplianceChanges.as_view()),
    path("schema/", schema.Schema.as_view()),
    re_path("", nothing.without_slash),
]
