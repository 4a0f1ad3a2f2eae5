"""At full size, for the seed of the fixtures and for another, what was planted is found again in the facts."""

import datetime as dt
from collections import Counter
from collections.abc import Iterator
from typing import Any

import pytest
from django.db.models import Q

from pmcore.engines.vocabulary import AttemptOutcome, CalibrationOutcome, ReasonCode
from pmcore.models import (
    AreaDetails,
    Attempt,
    Calibration,
    DeviceIdentity,
    Entry,
    Hold,
    HoldDetails,
    InspectionSession,
    InstrumentDetails,
    ModelDetails,
    PartInstall,
    Placement,
    PositionDetails,
    Reading,
    ReasonNotDone,
    ReleasedHold,
    ServiceState,
    SiteDetails,
)
from pmcore.queries.head import head
from pmcore.queries.verification import verify
from pmcore.services.demo.parameters import quillmere
from pmcore.services.generate_due import generate_due
from tests.services.demo.building import ENDS_ON, built, figure

SPRING = (dt.date(2026, 4, 1), dt.date(2026, 6, 30))
AT = dt.datetime(2026, 10, 31, 23, 30, tzinfo=dt.UTC)


@pytest.fixture(scope="module", autouse=True, params=[None, 7], ids=["the usual seed", "another seed"])
def demonstration(request: pytest.FixtureRequest, django_db_setup: None, django_db_blocker: Any) -> Iterator[None]:
    with built(django_db_blocker, seed=request.param):
        yield


def site(label: str) -> int:
    return int(SiteDetails.objects.current().get(label=label).site_id)


def test_about_640_devices_of_a_dozen_classes_all_under_a_plan():
    coverage = figure().coverage.share
    assert coverage.numerator == coverage.denominator == quillmere().devices == 650
    assert len(quillmere().classes) == 12


def test_no_access_at_one_site_in_one_quarter():
    tallies = {group.key: group.tally for group in figure(*SPRING).groups}
    here = tallies.pop(site("FL"))
    assert (here.met, here.due) == (86, 110)
    assert str(here.share) == "78.2 %"
    met, due = sum(each.met for each in tallies.values()), sum(each.due for each in tallies.values())
    assert (met, due) == (645, 672)
    assert round(100 * met / due, 1) == 96.0


def test_the_technicians_who_got_no_access_said_so():
    attempts = Attempt.objects.current().filter(outcome=AttemptOutcome.NO_ACCESS)
    assert attempts.values("due_inspection").distinct().count() == 24
    windows = attempts.values_list("tried_on", "due_inspection__opens_on", "due_inspection__closes_on")
    assert all(opens_on <= day <= closes_on <= SPRING[1] for day, opens_on, closes_on in windows)
    reasons = ReasonNotDone.objects.current().filter(reason=ReasonCode.NO_ACCESS)
    assert reasons.count() == 18


def test_one_result_entered_late_changes_an_old_quarter():
    quarter = (dt.date(2025, 1, 1), dt.date(2025, 3, 31))
    report = figure(*quarter)
    (late,) = report.lists.late_entered
    session = InspectionSession.objects.get(inspection__device=late.device, performed_on=late.completed_on)
    before = figure(*quarter, known=session.entry - 1, as_of=dt.date(2026, 3, 9))
    assert Entry.objects.get(seq=session.entry).at.date() == dt.date(2026, 3, 10)
    assert (report.tally.met, report.tally.due) == (before.tally.met + 1, before.tally.due)


def test_nine_devices_are_not_located_after_two_searches():
    missing = ServiceState.objects.current().on(ENDS_ON).filter(state="not_located")
    assert missing.count() == 9
    for state in missing:
        searched = Attempt.objects.current().filter(
            due_inspection__device=state.device, outcome=AttemptOutcome.NOT_FOUND, tried_on__lte=state.from_on
        )
        assert searched.values("tried_on").distinct().count() >= 2
        assert not InspectionSession.objects.filter(
            inspection__device=state.device, performed_on__gte=state.from_on
        ).exists()


def test_eleven_devices_of_mixed_classes_stand_on_the_workshop_floor():
    workshop = AreaDetails.objects.current().get(kind="workshop").area_id
    there = Placement.objects.current().on(ENDS_ON).filter(area=workshop).values_list("device", flat=True)
    models = DeviceIdentity.objects.current().filter(device__in=there).values("device_model")
    classes = ModelDetails.objects.current().filter(device_model__in=models).values("device_class").distinct()
    assert (len(there), classes.count()) == (11, 9)


def test_one_instrument_out_of_tolerance_touches_31_inspections():
    bad = Calibration.objects.current().get(outcome=CalibrationOutcome.OUT_OF_TOLERANCE)
    good = Calibration.objects.current().filter(instrument=bad.instrument).exclude(pk=bad.pk).get()
    touched = InspectionSession.objects.current().filter(
        pk__in=Reading.objects.filter(instrument=bad.instrument).values("session")
    )
    days = list(touched.values_list("performed_on", flat=True))
    assert len(days) == len(set(touched.values_list("inspection", flat=True))) == 31
    assert good.performed_on <= min(days)
    assert max(days) < bad.performed_on
    assert max(days) <= good.good_until_on


def test_sixty_values_were_copied_by_one_person_on_one_instrument():
    said = quillmere().scenes["identical_readings"]
    copies = Reading.objects.current().filter(step=said["step"], as_found=said["value"])
    assert copies.count() == 60
    ((person, instrument),) = set(copies.values_list("session__person", "instrument"))
    assert InstrumentDetails.objects.current().get(instrument=instrument).label == "K-202"
    inspected = InspectionSession.objects.current().filter(person=person).count()
    assert inspected > 60


@pytest.mark.parametrize(
    ("step", "maker", "name", "failed", "checks"),
    [("load_cell", "Pellimar", "Sedge", 14, 54), ("pressure", "Tessick", "Fern", 3, 960)],
)
def test_intervals_too_long_and_too_short(step, maker, name, failed, checks):
    model = ModelDetails.objects.current().get(maker=maker, name=name).device_model_id
    devices = DeviceIdentity.objects.current().filter(device_model=model).values("device")
    readings = Reading.objects.current().filter(step=step, session__inspection__device__in=devices)
    assert Counter(readings.values_list("outcome", flat=True)) == {"failed": failed, "passed": checks - failed}
    low, high = (98.0, 102.0) if step == "load_cell" else (147.0, 153.0)
    for outcome, found, left in readings.values_list("outcome", "as_found", "as_left"):
        assert (low <= float(found) <= high) == (outcome == "passed")
        assert low <= float(left) <= high


def test_what_failed_was_held_and_almost_all_of_it_released():
    failed = Reading.objects.current().filter(outcome="failed").values("session__inspection__device")
    holds = HoldDetails.objects.current().filter(reason="inspection_failed")
    assert holds.count() == failed.count() > 17
    released = set(ReleasedHold.objects.values_list("hold", flat=True))
    still = [hold.from_on for hold in holds if hold.hold_id not in released]
    assert all(day > ENDS_ON - dt.timedelta(days=14) for day in still)
    assert released <= set(Hold.objects.values_list("pk", flat=True))


def test_one_part_moved_between_devices():
    installs = PartInstall.objects.current().filter(
        position__in=PositionDetails.objects.filter(label="Hand control socket").values("position")
    )
    where = installs.order_by("from_on", "pk").values_list("device", "item", "from_on")
    (donor, item, _), (gone_from, nothing, on), (recipient, again, fitted_on), (mended, other, _) = where
    assert (donor, nothing, item, fitted_on) == (gone_from, None, again, on)
    assert (mended, other == item) == (donor, False)
    assert recipient != donor


def test_the_nightly_work_has_nothing_to_add_and_nothing_to_withdraw():
    size = head().size
    for number in SiteDetails.objects.current().values_list("site", flat=True):
        generated = generate_due(site=number, as_of=ENDS_ON, at=AT)
        assert generated.calls == []
    assert head().size == size


def test_entries_stand_in_order_of_time():
    moments = list(Entry.objects.order_by("seq").values_list("at", flat=True))
    assert moments == sorted(moments)
    assert moments[-1].date() == ENDS_ON


def test_nothing_was_entered_before_it_was_done():
    """Sessions with the moment of their entry: none is older than the work."""
    entered = dict(Entry.objects.values_list("seq", "at"))
    rows = InspectionSession.objects.filter(Q(ended_at__isnull=False)).values_list("entry", "ended_at")
    assert [entry for entry, ended_at in rows if entered[entry] < ended_at] == []


def test_the_history_verifies():
    report = verify(None)
    assert (report.faults, report.size) == ([], head().size)
