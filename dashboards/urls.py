from django.urls import path

from dashboards.views import compliance, schedule, start

urlpatterns = [
    path("", start.start, name="start"),
    path("healthz", start.healthz, name="healthz"),
    path("compliance/", compliance.show, name="compliance"),
    path("compliance/report/", compliance.report, name="compliance_report"),
    path("compliance/rows.csv", compliance.rows_as_csv, name="compliance_rows"),
    path("compliance/changes/", compliance.changes, name="compliance_changes"),
    path("schedule/", schedule.show, name="schedule"),
    path("schedule/rows.csv", schedule.rows_as_csv, name="schedule_rows"),
    path("schedule/people/<int:person>/", schedule.week_of_person, name="schedule_person"),
]
urlpatterns += [
    path("bench/", start.start, name="bench"),
    path("equipment/", start.start, name="equipment"),
]  # TEMP
