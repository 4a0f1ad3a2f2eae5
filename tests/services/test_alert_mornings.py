"""Days and mornings are the site's own: several zones, and the nights on which clocks change.

Expected moments in UTC follow from the rules of the zones as the IANA database has them (London: summer time from
2026-03-29 01:00 UTC to 2026-10-25 01:00 UTC; Lord Howe: half an hour, back on 2026-04-05; Apia: UTC+13 all year).
"""

import datetime as dt

import pytest

from pmcore.engines.records import SYSTEM
from pmcore.engines.vocabulary import AlertKind, Role
from pmcore.models import Alert, Mail
from pmcore.queries.sites import sites_on
from pmcore.services.alert_making import message_id, morning_of
from pmcore.services.alerts import sweep_site
from pmcore.services.people import register_person
from pmcore.services.sites import describe_site
from tests.alert_cast import CLOSES, Ward, a_ward
from tests.story import day, moment

ONE = dt.timedelta(days=1)


@pytest.mark.parametrize(
    ("on", "hour", "zone", "utc"),
    [
        ("2026-03-28", 7, "Europe/London", "2026-03-28 07:00"),
        ("2026-03-29", 7, "Europe/London", "2026-03-29 06:00"),
        ("2026-10-24", 7, "Europe/London", "2026-10-24 06:00"),
        ("2026-10-25", 7, "Europe/London", "2026-10-25 07:00"),
        ("2026-03-29", 1, "Europe/London", "2026-03-29 01:00"),  # an hour that clocks skip
        ("2026-10-25", 1, "Europe/London", "2026-10-25 00:00"),  # one that comes twice: the first
        ("2026-04-04", 7, "Australia/Lord_Howe", "2026-04-03 20:00"),
        ("2026-04-05", 7, "Australia/Lord_Howe", "2026-04-04 20:30"),
        ("2026-07-16", 7, "Pacific/Apia", "2026-07-15 18:00"),
        ("2026-07-16", 7, "America/Bogota", "2026-07-16 12:00"),
        ("2026-07-16", 7, "Asia/Kathmandu", "2026-07-16 01:15"),
    ],
)
def test_a_morning_is_that_of_the_sites_clock(on: str, hour: int, zone: str, utc: str) -> None:
    expected = dt.datetime.fromisoformat(utc).replace(tzinfo=dt.UTC)
    assert morning_of(dt.date.fromisoformat(on), hour, zone) == expected


def test_a_message_id_is_stable_and_its_own() -> None:
    assert message_id("morning:7") == message_id("morning:7") != message_id("morning:8")
    assert message_id("morning:7").endswith("@localhost>")


def elsewhere(ward: Ward, zone: str) -> None:
    """The second site lies in another zone from the day before the close on."""
    describe_site(
        site=ward.work.story.sites[1], label="SP", name="Stennet Point", time_zone=zone, from_on=CLOSES - ONE,
        actor=SYSTEM, at=moment(CLOSES - 2 * ONE),
    )  # fmt: skip
    story = ward.work.story
    story.device = story.add_device("FAR-1", area=story.areas[1])
    story.inspect(day(6, 15, 2025))
    story.sweep(day(6, 16, 2025), day(5, 1))


@pytest.mark.django_db
@pytest.mark.parametrize(
    ("zone", "before"),
    [("Pacific/Apia", "2026-07-15 10:59:59"), ("Europe/London", "2026-07-15 22:59:59"),
     ("Pacific/Honolulu", "2026-07-16 09:59:59")],
)  # fmt: skip
def test_a_site_is_late_when_its_own_day_is_over(zone: str, before: str) -> None:
    ward = a_ward()
    elsewhere(ward, zone)
    ward.rule(AlertKind.OVERDUE, (1, Role.MANAGER), on=CLOSES - 2 * ONE, site=ward.work.story.sites[1])
    last = dt.datetime.fromisoformat(before).replace(tzinfo=dt.UTC)
    assert ward.sweep_at(last) == 0
    assert ward.sweep_at(last + dt.timedelta(seconds=1)) == 1
    assert Alert.objects.get().told_on == CLOSES + ONE
    assert Mail.objects.get().next_try_at == morning_of(CLOSES + ONE, 7, zone)


@pytest.mark.django_db
def test_who_works_in_two_zones_has_a_letter_of_each_morning() -> None:
    ward = a_ward()
    elsewhere(ward, "Europe/London")
    ward.rule(AlertKind.OVERDUE, (1, Role.MANAGER), on=CLOSES - 2 * ONE)
    ward.sweep_at(moment(CLOSES + ONE, 1))
    found = Mail.objects.order_by("next_try_at").values_list("next_try_at", "person")
    manager = ward.work.story.person
    assert list(found) == [
        (dt.datetime(2026, 7, 16, 6, tzinfo=dt.UTC), manager), (dt.datetime(2026, 7, 16, 12, tzinfo=dt.UTC), manager),
    ]  # fmt: skip


@pytest.mark.django_db
def test_two_sites_of_one_zone_share_the_letter_of_the_morning() -> None:
    ward = a_ward()
    elsewhere(ward, "America/Bogota")
    ward.rule(AlertKind.OVERDUE, (1, Role.MANAGER), on=CLOSES - 2 * ONE)
    ward.sweep(CLOSES + ONE)
    assert Alert.objects.values("site").distinct().count() == 2
    assert Mail.objects.get().deliveries.count() == 4


@pytest.mark.django_db
def test_the_first_look_of_a_day_fills_its_morning_however_late_it_comes() -> None:
    ward = a_ward()
    ward.rule(AlertKind.OVERDUE, (1, Role.MANAGER))
    ward.sweep(CLOSES + ONE, hour=11)
    assert Mail.objects.get().next_try_at == moment(CLOSES + ONE, 7)


@pytest.mark.django_db
def test_a_clock_that_went_back_tells_nothing_twice() -> None:
    ward = a_ward()
    ward.rule(AlertKind.OVERDUE, (1, Role.MANAGER))
    assert ward.sweep(CLOSES + 2 * ONE) == 3
    assert ward.sweep(CLOSES + ONE, CLOSES + 2 * ONE) == 0


@pytest.mark.django_db
def test_one_sites_failure_stops_no_other(monkeypatch: pytest.MonkeyPatch) -> None:
    from pmcore import tasks
    from tests.dashboards.signed_in import set_clock

    ward = a_ward()
    ward.rule(AlertKind.OVERDUE, (1, Role.MANAGER))
    register_person(
        name="Ingrid Aske-Lund", role=Role.MANAGER, sites=ward.work.story.sites[:1], from_on=CLOSES, actor=SYSTEM,
        at=moment(CLOSES),
    )  # fmt: skip
    set_clock(monkeypatch, moment(CLOSES + ONE, 1))
    labels = [site.label for site in sites_on(CLOSES)]

    def fails_once(*, site: object, at: dt.datetime) -> int:
        if labels and getattr(site, "label", "") == "SP":
            labels.clear()
            raise RuntimeError("The map of this site is torn.")
        return sweep_site(site=site, at=at)  # type: ignore[arg-type]

    monkeypatch.setattr(tasks.alerts, "sweep_site", fails_once)
    tasks.sweep_alerts()
    assert labels == [], "the second site failed"
    assert Alert.objects.count() == 3
