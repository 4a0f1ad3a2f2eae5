"""What falls due, is overdue, held or runs out is told once, to the right people, by sweep or follower."""

import datetime as dt

import pytest
from django.db import connection
from django.test.utils import CaptureQueriesContext

from pmcore.engines.records import SYSTEM
from pmcore.engines.vocabulary import AlertChannel, AlertKind, CalibrationOutcome, HoldReason, RiskClass, Role
from pmcore.models import Alert, Calibration, Delivery, Follower, InstrumentDetails, Mail, TestInstrument
from pmcore.models.rows import Row
from pmcore.queries.alert_rules import Step
from pmcore.queries.head import head
from pmcore.queries.sites import sites_on
from pmcore.services.alert_rules import change_rule, make_default_rules
from pmcore.services.alerts import sweep_site
from pmcore.services.append import append
from pmcore.services.assignments import assign_inspections, take_off
from pmcore.services.holds import place_hold
from pmcore.services.keep_standings import keep_standings
from pmcore.services.people import give_role, register_person, set_membership
from pmcore.services.risk import override_risk
from pmcore.services.sites import open_site
from tests.alert_cast import CLOSES, Ward, a_ward, made, told
from tests.due_work import somebody
from tests.story import day, moment

pytestmark = pytest.mark.django_db

ONE = dt.timedelta(days=1)


@pytest.fixture
def ward() -> Ward:
    return a_ward()


def give(ward: Ward, number: int, person: int | None, on: dt.date) -> None:
    assign_inspections(
        due_inspections=[ward.work.due(number)],
        person=person or 0,
        on=on,
        half=None,
        actor=ward.work.jorun,
        at=moment(day(5, 3), 9),
    )


# Each kind


def test_what_is_due_soon_and_given_to_nobody_is_told_to_the_scheduler(ward: Ward) -> None:
    ward.rule(AlertKind.DUE_UNASSIGNED, (14, Role.SCHEDULER))
    give(ward, 0, ward.work.ruan.person, day(6, 10))
    assert ward.sweep(CLOSES - 15 * ONE) == 0
    assert ward.sweep(CLOSES - 14 * ONE) == 2
    assert told() == {ward.work.jorun.person: 2}
    assert ward.sweep(CLOSES - 13 * ONE) == 0


def test_what_opens_today_is_told_to_whoever_has_it_else_to_the_technicians_of_the_site(ward: Ward) -> None:
    ward.rule(AlertKind.OPENED, (0, Role.TECHNICIAN), on=day(5, 2))
    give(ward, 0, ward.work.saskia.person, day(5, 10))
    assert ward.sweep(day(5, 15)) == 0
    assert ward.sweep(day(5, 16)) == 3
    assert told() == {ward.work.ruan.person: 2, ward.work.saskia.person: 3}
    assert ward.sweep(day(5, 17)) == 0


def test_what_opened_while_nobody_looked_is_told_for_a_week(ward: Ward) -> None:
    ward.rule(AlertKind.OPENED, (0, Role.TECHNICIAN), on=day(5, 2))
    assert ward.sweep(day(5, 10)) == 0
    assert ward.sweep(day(5, 22)) == 3


def test_what_opened_longer_ago_is_no_news(ward: Ward) -> None:
    ward.rule(AlertKind.OPENED, (0, Role.TECHNICIAN), on=day(5, 2))
    assert ward.sweep(day(5, 10), day(5, 23)) == 0


def test_what_is_overdue_climbs_from_technician_to_scheduler_to_manager(ward: Ward) -> None:
    ward.rule(AlertKind.OVERDUE, (1, Role.TECHNICIAN), (7, Role.SCHEDULER), (30, Role.MANAGER))
    ward.work.story.inspect(day(6, 20))
    people = ward.work
    assert ward.sweep(CLOSES) == 0, "a window that closes today is open"
    assert ward.sweep(CLOSES + ONE) == 2
    assert told() == {people.ruan.person: 2, people.saskia.person: 2}
    assert ward.sweep(CLOSES + 6 * ONE) == 0
    assert ward.sweep(CLOSES + 7 * ONE) == 2
    assert told()[people.jorun.person] == 2
    assert ward.sweep(CLOSES + 29 * ONE) == 0
    assert ward.sweep(CLOSES + 30 * ONE) == 2
    assert told()[people.story.person] == 2
    assert sorted(made()) == sorted([("overdue", days) for days in (1, 7, 30) for _ in range(2)])


def test_a_first_look_after_a_long_time_tells_every_step_that_was_reached(ward: Ward) -> None:
    ward.rule(AlertKind.OVERDUE, (1, Role.TECHNICIAN), (7, Role.SCHEDULER), (30, Role.MANAGER))
    assert ward.sweep(CLOSES + 10 * ONE) == 6


def test_high_risk_overdue_is_told_at_once_and_by_a_letter_of_its_own(ward: Ward) -> None:
    ward.rule(AlertKind.HIGH_RISK_OVERDUE, (1, Role.MANAGER), at_once=True)
    ward.rule(AlertKind.OVERDUE, (1, Role.MANAGER))
    override_risk(
        device=ward.work.devices[1], risk_class=RiskClass.HIGH_RISK, reason="It holds people up.", from_on=day(5, 2),
        signed_by=ward.work.story.person, **ward.work.story.by(day(5, 2)),
    )  # fmt: skip
    assert ward.sweep(CLOSES + ONE) == 4
    manager, high = ward.work.story.person, ward.work.dues[1]
    assert told() == {manager: 4}
    by_letter = Delivery.objects.filter(person=manager, channel=AlertChannel.MAIL, alert__about=high)
    assert [each.alert.kind for each in by_letter] == [AlertKind.HIGH_RISK_OVERDUE], "not twice for the same step"
    letters = Mail.objects.order_by("at_once").values_list("at_once", "next_try_at", "deliveries__alert__kind")
    at = moment(CLOSES + ONE, 1)
    assert sorted(set(letters), key=str) == [
        (False, moment(CLOSES + ONE, 7), "overdue"), (True, at, "high_risk_overdue"),
    ]  # fmt: skip


def test_who_is_told_at_once_gets_no_second_letter_in_the_morning(ward: Ward) -> None:
    ward.rule(AlertKind.HIGH_RISK_OVERDUE, (1, Role.MANAGER), at_once=True)
    ward.rule(AlertKind.OVERDUE, (1, Role.SCHEDULER), (1, Role.MANAGER))
    for device in ward.work.devices:
        override_risk(
            device=device, risk_class=RiskClass.HIGH_RISK, reason="It holds people up.", from_on=day(5, 2),
            signed_by=ward.work.story.person, **ward.work.story.by(day(5, 2)),
        )  # fmt: skip
    ward.sweep(CLOSES + ONE)
    manager, scheduler = ward.work.story.manager.person, ward.work.jorun.person
    assert sorted(Mail.objects.values_list("person", "at_once")) == sorted([(manager, True), (scheduler, False)])
    by_letter = Delivery.objects.filter(channel=AlertChannel.MAIL, person=manager)
    assert set(by_letter.values_list("alert__kind", flat=True)) == {"high_risk_overdue"}
    in_the_application = Delivery.objects.filter(channel=AlertChannel.IN_APP, person=manager)
    assert set(in_the_application.values_list("alert__kind", flat=True)) == {"high_risk_overdue", "overdue"}


def test_whom_the_graver_rule_does_not_tell_hears_of_the_plain_one(ward: Ward) -> None:
    ward.rule(AlertKind.HIGH_RISK_OVERDUE, (1, Role.MANAGER), at_once=True)
    ward.rule(AlertKind.OVERDUE, (1, Role.SCHEDULER), (7, Role.MANAGER))
    override_risk(
        device=ward.work.devices[1], risk_class=RiskClass.HIGH_RISK, reason="It holds people up.", from_on=day(5, 2),
        signed_by=ward.work.story.person, **ward.work.story.by(day(5, 2)),
    )  # fmt: skip
    high, people = ward.work.dues[1], ward.work

    def by_letter() -> list[tuple[int, str, int]]:
        found = Delivery.objects.filter(channel=AlertChannel.MAIL, alert__about=high).order_by("alert__days", "person")
        return list(found.values_list("person", "alert__kind", "alert__days"))

    ward.sweep(CLOSES + ONE)
    assert sorted(by_letter()) == sorted([
        (people.story.person, "high_risk_overdue", 1), (people.jorun.person, "overdue", 1),
    ])  # fmt: skip
    ward.sweep(CLOSES + 7 * ONE)
    assert by_letter()[-1] == (people.story.person, "overdue", 7), "a later step is told all the same"


def test_a_hold_is_told_of_when_it_has_stood_for_so_many_days(ward: Ward) -> None:
    ward.rule(AlertKind.LONG_HOLD, (14, Role.SCHEDULER), (30, Role.MANAGER))
    device, manager = ward.work.devices[2], ward.work.story.manager
    place_hold(device=device, reason=HoldReason.OTHER, from_on=day(6, 2), actor=manager, at=moment(day(6, 2)))
    assert ward.sweep(day(6, 15)) == 0
    assert ward.sweep(day(6, 16)) == 1
    alert = Alert.objects.get()
    assert (alert.kind, alert.days, alert.device) == (AlertKind.LONG_HOLD, 14, device)
    assert alert.parameters == {"placed_on": "2026-06-02", "reason": "other"}
    assert told() == {ward.work.jorun.person: 1}
    assert ward.sweep(day(7, 2)) == 1


def an_instrument(ward: Ward, good_until_on: dt.date) -> int:
    instrument = Row(TestInstrument)
    details = Row(
        InstrumentDetails, instrument=instrument, from_on=day(5, 2), site=ward.work.story.sites[0], label="ME-1",
        maker="Orvane", model="Gauge", serial="G-1", retired=False,
    )  # fmt: skip
    rows = [instrument, details, calibration(instrument, day(5, 2), good_until_on)]
    return append("instrument_registered", instrument, rows, actor=SYSTEM, at=moment(day(5, 2))).subject


def calibration(instrument: Row | int, on: dt.date, good_until_on: dt.date) -> Row:
    return Row(
        Calibration, instrument=instrument, performed_on=on, good_until_on=good_until_on,
        outcome=CalibrationOutcome.IN_TOLERANCE,
    )  # fmt: skip


def test_an_instrument_is_told_of_before_its_calibration_runs_out_and_again_after_the_next(ward: Ward) -> None:
    ward.rule(AlertKind.CALIBRATION, (30, Role.SCHEDULER), (0, Role.MANAGER))
    instrument = an_instrument(ward, day(7, 31))
    assert ward.sweep(day(6, 30)) == 0
    assert ward.sweep(day(7, 1)) == 1
    assert told() == {ward.work.jorun.person: 1}
    assert ward.sweep(day(7, 30)) == 0
    assert ward.sweep(day(7, 31)) == 1
    append(
        "instrument_calibrated", instrument, [calibration(instrument, day(8, 1), day(8, 20))], actor=SYSTEM,
        at=moment(day(8, 1)),
    )  # fmt: skip
    assert ward.follow(day(8, 1)) == 1
    assert ward.sweep(day(8, 1), hour=13) == 1, "the calibration of a month asks for the next one at once"
    assert Alert.objects.filter(over_at__isnull=True).count() == 1


# Whom


def test_roles_are_those_of_the_day(ward: Ward) -> None:
    ward.rule(AlertKind.OVERDUE, (1, Role.SCHEDULER))
    site = ward.work.story.sites[0]
    late = register_person(
        name="Ilse Morrow-Tan", role=Role.SCHEDULER, sites=[site], from_on=CLOSES + 2 * ONE, actor=SYSTEM,
        at=moment(day(6, 1)),
    ).subject  # fmt: skip
    elsewhere = somebody("Ove Strand-Lark", Role.SCHEDULER, day(5, 2), site)
    set_membership(
        person=elsewhere.person or 0, site=site, member=False, from_on=CLOSES, actor=SYSTEM, at=moment(CLOSES, 0)
    )
    ward.sweep(CLOSES + ONE)
    assert told() == {ward.work.jorun.person: 3}
    assert late not in told()


def test_where_nobody_holds_the_role_the_managers_are_told(ward: Ward) -> None:
    ward.rule(AlertKind.OVERDUE, (1, Role.CLINICAL_LEAD))
    ward.sweep(CLOSES + ONE)
    assert told() == {ward.work.story.person: 3}


def test_where_there_is_no_manager_either_the_administrators_are(ward: Ward) -> None:
    site = ward.work.story.sites[0]
    wim = somebody("Wim Ostrava-Keel", Role.ADMINISTRATOR, day(5, 2), site)
    give_role(person=ward.work.story.person, role=Role.AUDITOR, from_on=CLOSES, actor=SYSTEM, at=moment(CLOSES, 0))
    ward.rule(AlertKind.OVERDUE, (1, Role.CLINICAL_LEAD))
    ward.sweep(CLOSES + ONE)
    assert told() == {wim.person: 3}


def test_where_nobody_is_at_the_site_whoever_comes_first_is_told(ward: Ward) -> None:
    ward.rule(AlertKind.OVERDUE, (1, Role.CLINICAL_LEAD))
    manager = ward.work.story.person
    give_role(person=manager, role=Role.AUDITOR, from_on=CLOSES, actor=SYSTEM, at=moment(CLOSES, 0))
    assert ward.sweep(CLOSES + ONE) == 0
    assert (made(), told()) == ([], {})
    give_role(person=manager, role=Role.MANAGER, from_on=CLOSES + 3 * ONE, actor=SYSTEM, at=moment(CLOSES + 2 * ONE, 0))
    assert ward.sweep(CLOSES + 2 * ONE, CLOSES + 3 * ONE, CLOSES + 4 * ONE) == 3
    assert told() == {manager: 3}


def test_a_provider_is_told_of_what_they_were_given(ward: Ward) -> None:
    ward.rule(AlertKind.OVERDUE, (1, Role.TECHNICIAN))
    give(ward, 1, ward.work.pavel.person, day(6, 10))
    ward.sweep(CLOSES + ONE)
    assert told() == {ward.work.pavel.person: 1, ward.work.ruan.person: 2, ward.work.saskia.person: 2}


def test_a_rule_of_one_site_tells_of_no_other(ward: Ward) -> None:
    ward.rule(AlertKind.OVERDUE, (1, Role.MANAGER), site=ward.work.story.sites[1])
    assert ward.sweep(CLOSES + ONE) == 0


def test_a_rule_that_is_switched_off_tells_nobody(ward: Ward) -> None:
    rule = ward.rule(AlertKind.OVERDUE, (1, Role.MANAGER))
    change_rule(
        rule=rule, steps=[Step(1, Role.MANAGER)], at_once=False, enabled=False, from_on=day(6, 2), actor=SYSTEM,
        at=moment(day(6, 2), 0),
    )  # fmt: skip
    assert ward.sweep(CLOSES + ONE) == 0


def test_everybody_is_told_in_the_application_and_by_one_letter(ward: Ward) -> None:
    ward.rule(AlertKind.OVERDUE, (1, Role.TECHNICIAN))
    ward.sweep(CLOSES + ONE)
    assert told(AlertChannel.IN_APP) == told(AlertChannel.MAIL)
    assert Mail.objects.count() == 2
    assert set(Mail.objects.values_list("person", flat=True)) == set(told())
    assert not Delivery.objects.filter(channel=AlertChannel.IN_APP, mail__isnull=False).exists()


# Once, however often one looks


def test_twice_adds_nothing_and_the_second_look_of_a_day_costs_little(ward: Ward) -> None:
    make_default_rules(from_on=day(6, 1), actor=SYSTEM, at=moment(day(6, 1), 0))
    assert ward.sweep(CLOSES + ONE) == 3
    sites = ward.work.story.sites
    before = list(Delivery.objects.values_list("pk", flat=True))
    with CaptureQueriesContext(
        connection,
    ) as captured:
        assert ward.sweep(CLOSES + ONE, hour=2) == 0
    # two for the sites; of each the head, the follower and its mark
    assert len(captured) == 2 + 3 * len(sites)
    assert list(Delivery.objects.values_list("pk", flat=True)) == before


def test_a_day_that_was_missed_is_caught_up(ward: Ward) -> None:
    ward.rule(AlertKind.OVERDUE, (1, Role.TECHNICIAN), (7, Role.SCHEDULER))
    ward.sweep(CLOSES)
    assert ward.sweep(CLOSES + 20 * ONE) == 6


def test_a_changed_rule_is_looked_at_the_same_day_and_makes_nothing_twice(ward: Ward) -> None:
    ward.rule(AlertKind.OVERDUE, (1, Role.TECHNICIAN))
    assert ward.sweep(CLOSES + ONE) == 3
    ward.rule(AlertKind.OVERDUE, (1, Role.MANAGER), on=CLOSES + ONE)
    assert ward.sweep(CLOSES + ONE, hour=11) == 0
    assert ward.follow(CLOSES + ONE) == 1
    assert ward.sweep(CLOSES + ONE, hour=13) == 3
    assert ward.sweep(CLOSES + ONE, hour=14) == 0


# What is written


def test_what_is_taken_off_somebody_is_told_when_it_is_written(ward: Ward) -> None:
    ward.rule(AlertKind.DUE_UNASSIGNED, (14, Role.SCHEDULER))
    today = CLOSES - 3 * ONE
    for number in range(3):
        give(ward, number, ward.work.ruan.person, day(6, 10))
    assert ward.sweep(today) == 0
    take_off(due_inspections=[ward.work.due(1)], actor=ward.work.jorun, at=moment(today, 10))
    assert ward.follow(today) == 1
    assert [alert.device for alert in Alert.objects.all()] == [ward.work.devices[1]]
    assert Mail.objects.get().next_try_at == moment(today + ONE, 7), "the morning's letter has gone"


def test_before_the_first_look_the_follower_waits(ward: Ward) -> None:
    assert ward.follow(day(6, 2)) == 0
    assert not Follower.objects.exists()
    ward.sweep(day(6, 2))
    assert Follower.objects.get().seen == head().size
    assert ward.follow(day(6, 2)) == 0


def test_what_is_done_is_over_and_what_is_taken_back_comes_again(ward: Ward) -> None:
    ward.rule(AlertKind.DUE_UNASSIGNED, (14, Role.SCHEDULER))
    today = CLOSES - 3 * ONE
    ward.sweep(today)
    give(ward, 0, ward.work.ruan.person, today)
    ward.follow(today)
    assert Alert.objects.filter(over_at__isnull=True).count() == 2
    take_off(due_inspections=[ward.work.due(0)], actor=ward.work.jorun, at=moment(today, 10))
    ward.follow(today)
    assert Alert.objects.filter(over_at__isnull=True).count() == 3
    assert Alert.objects.count() == 3


def test_what_nobody_wrote_about_is_over_with_its_day(ward: Ward) -> None:
    ward.rule(AlertKind.DUE_UNASSIGNED, (14, Role.SCHEDULER))
    ward.sweep(CLOSES - 3 * ONE)
    ward.sweep(CLOSES + ONE)
    assert Alert.objects.filter(over_at__isnull=False).count() == 3


def test_who_is_far_behind_looks_at_everything_instead(ward: Ward, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr("pmcore.services.alerts.FAR_BEHIND", 2)
    ward.rule(AlertKind.DUE_UNASSIGNED, (14, Role.SCHEDULER))
    today = CLOSES - 3 * ONE
    for number in range(3):
        give(ward, number, ward.work.ruan.person, day(6, 10))
    ward.sweep(today)
    for number in range(3):
        take_off(due_inspections=[ward.work.due(number)], actor=ward.work.jorun, at=moment(today, 10))
    assert ward.follow(today) == 0
    assert Follower.objects.get().seen == head().size
    assert ward.sweep(today, hour=13) == 3


# The same from kept standings, and from a fixed number of statements


def statements_of_a_sweep(ward: Ward, on: dt.date) -> int:
    with CaptureQueriesContext(connection) as captured:
        ward.sweep(on)
    return len(captured)


def test_a_look_takes_the_same_statements_however_many_devices_there_are(ward: Ward) -> None:
    make_default_rules(from_on=day(6, 1), actor=SYSTEM, at=moment(day(6, 1), 0))
    keep_standings()
    first = statements_of_a_sweep(ward, CLOSES + ONE)
    for number in range(10, 20):
        ward.work.story.add_device(f"M-{number}", on=CLOSES + ONE)
    ward.work.story.sweep(CLOSES + ONE)
    keep_standings()
    assert statements_of_a_sweep(ward, CLOSES + 2 * ONE) <= first


@pytest.mark.parametrize("kept", [True, False])
def test_kept_standings_change_no_alert(ward: Ward, kept: bool) -> None:
    make_default_rules(from_on=day(6, 1), actor=SYSTEM, at=moment(day(6, 1), 0))
    if kept:
        keep_standings()
    ward.work.story.inspect(day(6, 20))
    assert ward.sweep(CLOSES - 3 * ONE) == 2
    assert ward.sweep(CLOSES + ONE) == 2


def test_a_site_without_a_device_is_looked_at_too(ward: Ward) -> None:
    make_default_rules(from_on=day(6, 1), actor=SYSTEM, at=moment(day(6, 1), 0))
    opened = open_site(
        label="FL", name="Fallow Lane", time_zone="Europe/London", from_on=day(6, 1), actor=SYSTEM,
        at=moment(day(6, 1)),
    ).subject  # fmt: skip
    site = next(each for each in sites_on(day(6, 2)) if each.site == opened)
    assert sweep_site(site=site, at=moment(day(6, 2))) == 0
