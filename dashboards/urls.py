from django.urls import path

from dashboards.views import bench, compliance, equipment, faults, schedule, start

urlpatterns = [
    path("", start.start, name="start"),
    path("healthz", start.healthz, name="healthz"),
    path("compliance/", compliance.show, name="compliance"),
    path("compliance/report/", compliance.report, name="compliance_report"),
    path("compliance/rows.csv", compliance.rows_as_csv, name="compliance_rows"),
    path("compliance/changes/", compliance.changes, name="compliance_changes"),
    path("schedule/", schedule.show, name="schedule"),
    path("schedule/rows.csv", schedule.rows_as_csv, name="schedule_rows"),
    path("schedule/people/<key:person>/", schedule.week_of_person, name="schedule_person"),
    path("bench/", bench.start, name="bench"),
    path("bench/<key:due>/", bench.inspect, name="bench_inspect"),
    path("bench/<key:due>/recorded/<key:entry>/", bench.recorded, name="bench_recorded"),
    path("equipment/", equipment.show, name="equipment"),
    path("equipment/<key:device>/", equipment.one, name="device"),
    *(path(f"equipment/<key:device>/{name}/", faults.deed, {"name": name}, f"device_{name}") for name in faults.DEEDS),
    path("equipment/<key:device>/recorded/<key:entry>/", faults.recorded, name="fault_recorded"),
]
