"""Hourly sweeps of sites in far zones, by a clock that sometimes is wrong: nothing is missed, nothing comes twice."""

import datetime as dt

import pytest

from pmcore import tasks
from pmcore.engines.records import SYSTEM
from pmcore.engines.vocabulary import AreaKind
from pmcore.models import SiteSweep
from pmcore.queries.verification import verify
from pmcore.services.sites import open_area, open_site
from tests.cast import AT, JANUARY, a_device, a_hospital
from tests.due_cast import a_plan, a_procedure, due_days

pytestmark = pytest.mark.django_db

ZONES = ["Pacific/Kiritimati", "Pacific/Pago_Pago", "America/St_Johns", "Australia/Lord_Howe", "Africa/Cairo"]
HOUR = dt.timedelta(hours=1)
JUMPS = {5: HOUR, 11: -HOUR, 17: dt.timedelta(days=400)}  # the sweeps in which the clock is wrong
DAYS = [dt.date(2026, 2, 1) + dt.timedelta(days=91 * n) for n in range(9)]  # two years; hour by hour on each of them


def sweep_at(moment: dt.datetime, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(tasks.clock, "now", lambda: moment)
    tasks.sweep_due()


def test_whatever_zone_and_clock_each_due_inspection_is_there_once(monkeypatch: pytest.MonkeyPatch) -> None:
    hospital = a_hospital()
    monthly = {"every": 1, "window_before": 5, "window_after": 5}
    anchored = a_plan(hospital, a_procedure(), **monthly)
    floating = a_plan(hospital, a_procedure("Monthly"), counts_from="floating", anchor_on=None, **monthly)
    devices = {}
    for number, zone in enumerate(ZONES):
        site = open_site(label=f"Z{number}", name="Far", time_zone=zone, from_on=JANUARY, actor=SYSTEM, at=AT).subject
        area = open_area(site=site, name="Store", kind=AreaKind.STORE, from_on=JANUARY, actor=SYSTEM, at=AT).subject
        devices[zone] = a_device(SYSTEM, hospital.model, f"Z-{number}", area)
    for day in DAYS:
        for hour in range(24):
            moment = dt.datetime.combine(day, dt.time(hour), dt.UTC)
            sweep_at(moment + JUMPS.get(hour, 0 * HOUR), monkeypatch)
    sweep_at(dt.datetime.combine(DAYS[-1], dt.time(23), dt.UTC), monkeypatch)
    marks = set(SiteSweep.objects.values_list("swept_on", flat=True))
    assert marks <= {DAYS[-1], DAYS[-1] + dt.timedelta(days=1)}
    for device in devices.values():
        for plan in (anchored, floating):
            months = [each[:7] for each in due_days(device, plan)]
            assert len(months) == len(set(months))
            assert set(months) >= {f"{2026 + n // 12}-{n % 12 + 1:02}" for n in range(1, 24)}
    assert verify().sound
