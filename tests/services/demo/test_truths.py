"""At full size, for the seed of the fixtures and for another, what was planted is found again in the facts."""

import datetime as dt
from collections import Counter, defaultdict
from collections.abc import Iterator
from typing import Any

import pytest
from django.db.models import Max, Q

from pmcore.engines.vocabulary import AttemptOutcome, CalibrationOutcome, ReasonCode
from pmcore.models import (
    AreaDetails,
    Attempt,
    Calibration,
    DeviceIdentity,
    DeviceRevision,
    Entry,
    FindingDetails,
    Hold,
    HoldDetails,
    InspectionSession,
    InstrumentDetails,
    ModelDetails,
    PartInstall,
    Placement,
    PositionDetails,
    ProviderDetails,
    Reading,
    ReasonNotDone,
    ReleasedHold,
    RepairedFinding,
    RevisionDetails,
    ServiceState,
    SiteDetails,
    SiteSweep,
)
from pmcore.queries.head import head
from pmcore.queries.verification import verify
from pmcore.services.demo.last_moment import goes_on_at
from pmcore.services.demo.parameters import quillmere
from pmcore.services.generate_due import generate_due
from tests.benchmarks.recovered_truths import false_flags, is_hand_control, is_impact, is_tiny_group, screened
from tests.services.demo.building import BEGINS_ON, ENDS_ON, built, figure

pytestmark = pytest.mark.django_db

SPRING = (dt.date(2026, 4, 1), dt.date(2026, 6, 30))
AT = dt.datetime(2026, 10, 31, 23, 30, tzinfo=dt.UTC)


@pytest.fixture(scope="module", autouse=True, params=[None, 7], ids=["the usual seed", "another seed"])
def demonstration(request: pytest.FixtureRequest, django_db_setup: None, django_db_blocker: Any) -> Iterator[None]:
    with built(django_db_blocker, seed=request.param):
        yield


def site(label: str) -> int:
    return int(SiteDetails.objects.current().get(label=label).site_id)


def test_nothing_lies_ahead_when_the_clock_begins(tmp_path):
    newest = Entry.objects.latest("seq").at
    begins = goes_on_at(tmp_path / "demo-moment")
    assert newest == Entry.objects.aggregate(newest=Max("at"))["newest"]
    assert newest <= begins
    assert not SiteSweep.objects.filter(swept_at__gt=begins).exists()


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


# What fails


def in_service(devices: set[int]) -> float:
    """Device-years from the first day to the last, less the days on hold."""
    lifted = dict(ReleasedHold.objects.values_list("hold", "statement__signed_on"))
    over = ENDS_ON + dt.timedelta(days=1)
    held = sum(
        (lifted.get(hold, over) - from_on).days
        for hold, from_on in HoldDetails.objects.filter(hold__device__in=devices).values_list("hold", "from_on")
    )
    return ((over - BEGINS_ON).days * len(devices) - held) / 365.25


def devices_of(name: str) -> set[int]:
    model = ModelDetails.objects.current().get(name=name).device_model_id
    return set(DeviceIdentity.objects.current().filter(device_model=model).values_list("device", flat=True))


def failures(devices: set[int], **asked: Any) -> int:
    found = FindingDetails.objects.current().filter(finding__device__in=devices, failure="functional", **asked)
    return int(found.count())


@pytest.mark.parametrize(("label", "failed", "years"), [("A", 18, 90), ("B", 42, 60)])
def test_a_hand_control_fails_more_often_since_its_revision(label, failed, years):
    revision = RevisionDetails.objects.current().get(label=label).revision_id
    devices = set(DeviceRevision.objects.current().filter(revision=revision).values_list("device", flat=True))
    assert devices <= devices_of("Marl")
    assert failures(devices, subsystem="controls") == failed
    assert in_service(devices) == pytest.approx(years, abs=0.5)


@pytest.mark.parametrize(("here", "failed", "years"), [(True, 29, 72), (False, 15, 198)])
def test_pumps_are_knocked_about_at_one_site(here, failed, years):
    placed = Placement.objects.current().on(ENDS_ON).filter(device__in=devices_of("Combe"))
    chosen = placed.filter(area__site=site("FL")) if here else placed.exclude(area__site=site("FL"))
    devices = set(chosen.values_list("device", flat=True))
    assert failures(devices, cause="impact") == failed
    assert in_service(devices) == pytest.approx(years, abs=0.5)


def battery_lives(name: str) -> Iterator[tuple[float, float, bool]]:
    """Of each battery set its age when the record begins to know it, its age at the end, and whether it died."""
    deaths = set(
        FindingDetails.objects.current().filter(cause="battery").values_list("finding__device", "discovered_on")
    )
    first = PositionDetails.objects.current().get(position__device_model=model_of(name), label="Battery 1")
    rows = PartInstall.objects.current().filter(position=first.position).order_by("device", "from_on")
    fitted = list(rows.values_list("device", "from_on", "fitted_on"))
    for (device, from_on, fitted_on), following in zip(fitted, [*fitted[1:], (None, None, None)], strict=True):
        left_on = following[1] if following[0] == device else ENDS_ON
        month = 365.25 / 12
        yield (from_on - fitted_on).days / month, (left_on - fitted_on).days / month, (device, left_on) in deaths


def model_of(name: str) -> int:
    return int(ModelDetails.objects.current().get(name=name).device_model_id)


@pytest.mark.parametrize(("name", "low", "high"), [("Rill 2", 29.5, 34.6), ("Grike", 48.0, 72.0)])
def test_one_kind_of_battery_dies_before_its_time_and_another_does_not(name, low, high):
    """With the shape known, the likeliest Weibull scale is (sum of (exit^k - entry^k) / deaths)^(1/k): in closed form,
    from the likelihood of lives that were seen from an age on and perhaps not to their end."""
    lives = list(battery_lives(name))
    deaths = sum(died for _, _, died in lives)
    scale = (sum(end**4 - start**4 for start, end, _ in lives) / deaths) ** 0.25
    assert low < scale < high
    assert all(end <= 36.1 for _, end, _ in lives)


def test_use_errors_in_one_theatre_end_with_the_training():
    trained_on = quillmere().scenes["use_error"]["trained_on"]
    theatre = AreaDetails.objects.current().get(name="Theatre 2").area_id
    rows = FindingDetails.objects.current().filter(
        fault_report__isnull=False, subsystem="controls", finding__device__in=use_error_devices()
    )
    counts: Counter[tuple[str, bool]] = Counter()
    for area, day, cause in rows.values_list("area", "discovered_on", "cause"):
        where = "elsewhere" if area != theatre else "before" if day < trained_on else "after"
        counts[where, cause == "use_error"] += 1
    found = {where: (counts[where, True], counts[where, True] + counts[where, False]) for where, _ in counts}
    assert found == {"before": (34, 70), "elsewhere": (22, 180), "after": (6, 40)}
    errors = rows.filter(cause="use_error")
    assert not errors.filter(Q(training_on__isnull=True) | Q(second_person__isnull=True)).exists()


def use_error_devices() -> set[int]:
    return set().union(*(devices_of(name) for name in ("Clint 40", "Heugh", "Corrie", "Swallet", "Clough")))


def test_repairs_by_one_provider_come_back():
    """By provider: releases, and how many devices failed in the same subsystem by the thirtieth day after."""
    reported = defaultdict(list)
    for device, part, day in FindingDetails.objects.current().values_list(
        "finding__device", "subsystem", "discovered_on"
    ):
        reported[device, part].append(day)
    counts: Counter[tuple[str, bool]] = Counter()
    names = dict(ProviderDetails.objects.values_list("provider", "name"))
    parts = dict(FindingDetails.objects.values_list("finding", "subsystem"))
    rows = RepairedFinding.objects.filter(details__provider__isnull=False)
    for finding, device, day, provider in rows.values_list(
        "finding", "finding__device", "details__performed_on", "details__provider"
    ):
        assert (ENDS_ON - day).days >= 30
        came_back = any(0 < (again - day).days <= 30 for again in reported[device, parts[finding]])
        counts["Oxmere" if names[provider] == "Oxmere Repair Guild" else "others", came_back] += 1
    assert counts == {("Oxmere", True): 20, ("Oxmere", False): 70, ("others", True): 20, ("others", False): 380}


def test_a_tiny_group_failed_twice_in_a_year_and_a_half():
    revision = RevisionDetails.objects.current().get(label="2").revision_id
    change = DeviceRevision.objects.current().get(revision=revision)
    days = FindingDetails.objects.current().filter(
        finding__device=change.device, failure="functional", discovered_on__gte=change.from_on
    )
    assert days.count() == 2
    assert (ENDS_ON - change.from_on).days / 365.25 == pytest.approx(1.5, abs=0.01)


# What the screening makes of it


def test_hand_controls_come_first_in_the_list():
    report, names = screened()
    first = report.standouts[0]
    assert is_hand_control(first, names)
    assert names.labels[first.against] == "A"
    assert (first.events, first.other_events) == (42, 18)
    assert [round(value, 2) for value in (first.ratio, first.lower, first.upper)] == pytest.approx(
        [3.50, 1.97, 6.46], abs=0.011
    )


def test_impact_at_one_site_is_found():
    report, names = screened()
    (found,) = (each for each in report.standouts if is_impact(each, names))
    assert (found.events, found.other_events) == (29, 15)
    assert [round(value, 2) for value in (found.ratio, found.lower, found.upper)] == pytest.approx(
        [5.32, 2.76, 10.67], abs=0.011
    )


def test_at_most_two_false_flags_and_no_tiny_group_in_the_first_ten():
    report, names = screened()
    assert len(false_flags(report, names)) <= 2
    assert not any(is_tiny_group(each, names) for each in report.standouts[:10])
    assert report.compared > 100
