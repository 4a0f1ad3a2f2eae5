from django.urls import path

from dashboards.views import compliance, equipment, start

urlpatterns = [
    path("", start.start, name="start"),
    path("healthz", start.healthz, name="healthz"),
    path("compliance/", compliance.show, name="compliance"),
    path("compliance/report/", compliance.report, name="compliance_report"),
    path("compliance/rows.csv", compliance.rows_as_csv, name="compliance_rows"),
    path("compliance/changes/", compliance.changes, name="compliance_changes"),
    path("equipment/", equipment.show, name="equipment"),
    path("equipment/<key:device>/", equipment.one, name="device"),
]
urlpatterns += [path("schedule/", start.start, name="schedule"), path("bench/", start.start, name="bench")]  # TEMP
