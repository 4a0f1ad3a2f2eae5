from django.urls import path

from dashboards.fault_deeds import DEEDS
from dashboards.second_thoughts import SECOND_THOUGHTS, address_name
from dashboards.views import (
    administration,
    alert_rules,
    alerts,
    bench,
    bench_sheet,
    compliance,
    equipment,
    faults,
    history,
    operation,
    people,
    reliability,
    reported,
    schedule,
    start,
    tokens,
)

urlpatterns = [
    path("", start.start, name="start"),
    path("healthz", start.healthz, name="healthz"),
    path("readyz", operation.readyz, name="readyz"),
    path("metrics", operation.metrics, name="metrics"),
    path("compliance/", compliance.show, name="compliance"),
    path("compliance/report/", compliance.report, name="compliance_report"),
    path("compliance/rows.csv", compliance.rows_as_csv, name="compliance_rows"),
    path("compliance/changes/", compliance.changes, name="compliance_changes"),
    path("reliability/", reliability.show, name="reliability"),
    path("reliability/failures.csv", reliability.failures_as_csv, name="reliability_failures"),
    path("reliability/exposure.csv", reliability.exposure_as_csv, name="reliability_exposure"),
    path("schedule/", schedule.show, name="schedule"),
    path("schedule/rows.csv", schedule.rows_as_csv, name="schedule_rows"),
    path("schedule/people/<key:person>/", schedule.week_of_person, name="schedule_person"),
    path("bench/", bench.start, name="bench"),
    path("bench/<key:due>/", bench_sheet.inspect, name="bench_inspect"),
    path("bench/<key:due>/recorded/<key:entry>/", bench_sheet.recorded, name="bench_recorded"),
    path("bench/devices/<key:device>/", bench_sheet.choose, name="bench_device"),
    path(
        "bench/devices/<key:device>/recorded/<key:entry>/", bench_sheet.recorded_unplanned, name="bench_device_recorded"
    ),
    path(
        "bench/devices/<key:device>/<str:kind>/<key:procedure>/", bench_sheet.inspect_unplanned, name="bench_unplanned"
    ),
    path("alerts/", alerts.show, name="alerts"),
    path("alerts/<key:alert>/acknowledgement/", alerts.know, name="alert_known"),
    path("alerts/rules/", alert_rules.show_rules, name="alert_rules"),
    path("alerts/rules/new/", alert_rules.make, name="alert_rule_new"),
    path("alerts/rules/<key:rule>/", alert_rules.change, name="alert_rule"),
    path("alerts/letters/", alerts.show_letters, name="letters"),
    path("alerts/letters/<key:mail>/", alerts.one_letter, name="letter"),
    path("alerts/letters/<key:mail>/letter.eml", alerts.letter_as_file, name="letter_file"),
    path("equipment/", equipment.show, name="equipment"),
    path("equipment/reported/", reported.show, name="reported"),
    path("equipment/<key:device>/", equipment.one, name="device"),
    *(path(f"equipment/<key:device>/{name}/", faults.deed, {"name": name}, f"device_{name}") for name in DEEDS),
    *(
        path(
            f"equipment/<key:device>/{name.replace('/', '/<key:target>/')}/",
            faults.deed,
            {"name": name},
            address_name(name),
        )
        for name in SECOND_THOUGHTS
    ),
    path("equipment/<key:device>/recorded/<key:entry>/", faults.recorded, name="fault_recorded"),
    path("administration/people/", people.show, name="people"),
    path("administration/people/new/", people.new, name="person_new"),
    path("administration/people/<key:account>/", people.one, name="person"),
    path("administration/people/<key:account>/role/", people.change_role_of, name="person_role"),
    path("administration/people/<key:account>/sites/", people.change_sites_of, name="person_sites"),
    path("administration/people/<key:account>/address/", people.change_address_of, name="person_address"),
    path("administration/people/<key:account>/switch/", people.switch, name="person_switch"),
    path("administration/people/<key:account>/password/", people.new_password_for, name="person_password"),
    path("administration/people/<key:account>/password/shown/", people.password_shown, name="person_password_shown"),
    path("administration/tokens/", tokens.show, name="tokens"),
    path("administration/tokens/new/", tokens.new, name="token_new"),
    path("administration/tokens/<key:token>/shown/", tokens.shown, name="token_shown"),
    path("administration/tokens/<key:token>/back/", tokens.back, name="token_back"),
    path("history/", history.show, name="history"),
    path("history/verify/", history.verify, name="history_verify"),
    path("history/exports/<key:export>/cancel/", history.cancel, name="history_cancel"),
    path("administration/", administration.show, name="administration"),
    path("administration/jobs/<key:job>/again/", administration.retry, name="administration_retry"),
]
