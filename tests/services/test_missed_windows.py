"""Windows of a monthly plan touch: what was not done in May is overdue on no day, and is told of all the same."""

import datetime as dt

import pytest

from pmcore.alert_words import sentence
from pmcore.engines.due_dates import Window
from pmcore.engines.vocabulary import AlertChannel, AlertKind, RiskClass, Role
from pmcore.models import Alert, Delivery, DueInspection, InspectionSession
from pmcore.queries.alerts import open_alerts
from pmcore.queries.head import head
from pmcore.services.inspections import take_back_session
from pmcore.services.risk import override_risk
from tests.alert_cast import Ward
from tests.due_work import DueWork, somebody
from tests.story import a_story, day

pytestmark = pytest.mark.django_db

MAY, JUNE = day(5, 15), day(6, 15)


@pytest.fixture
def ward() -> Ward:
    """One table, looked at every month of the calendar; nobody came in May."""
    story = a_story(swept=())
    procedure, story.version = story.add_procedure("Monthly look")
    story.plan = story.add_plan(
        day(4, 1), name="Tables, monthly", procedure=procedure, every=1, window=Window.calendar_month(),
        anchor_on=day(4, 15),
    )  # fmt: skip
    story.sweep(day(4, 2), day(6, 1))
    story.inspect(day(4, 20))
    ruan = somebody("Ruan Tesk", Role.TECHNICIAN, story.begins_on, story.sites[0])
    jorun = somebody("Jorun Keld-Amsel", Role.SCHEDULER, story.begins_on, *story.sites)
    ward = Ward(DueWork(story, ruan, ruan, ruan, ruan, jorun, [story.device]))
    ward.rule(AlertKind.OVERDUE, (1, Role.TECHNICIAN), (7, Role.SCHEDULER))
    return ward


def due(ward: Ward, due_on: dt.date) -> int:
    found: DueInspection = ward.work.story.due(due_on)
    return found.pk


def told(ward: Ward, due_on: dt.date) -> list[tuple[str, int]]:
    """Kind and step of what was made about a month's inspection."""
    return list(Alert.objects.filter(about=due(ward, due_on)).order_by("days").values_list("kind", "days"))


def open_to(person: int | None, on: dt.date) -> list[str]:
    found = open_alerts(person or 0, as_of=on, known=head().size, after=0, limit=50)
    return [sentence(item, on) for item in found.rows]


def test_it_is_told_on_the_day_after_and_climbs(ward: Ward) -> None:
    ward.sweep(day(5, 31))
    assert told(ward, MAY) == []
    ward.sweep(day(6, 1), day(6, 2))
    assert told(ward, MAY) == [("overdue", 1)]
    ward.sweep(day(6, 7))
    assert told(ward, MAY) == [("overdue", 1), ("overdue", 7)]
    assert told(ward, JUNE) == []


def test_the_sentence_says_that_it_was_missed(ward: Ward) -> None:
    ward.sweep(day(6, 1))
    assert open_to(ward.work.ruan.person, day(6, 3)) == [
        "Tables, monthly: missed; its window closed on 31 May 2026, and the next is open and undone. "
        "It is given to nobody."
    ]


def test_a_high_risk_one_is_told_at_once(ward: Ward) -> None:
    ward.rule(AlertKind.HIGH_RISK_OVERDUE, (1, Role.MANAGER), at_once=True)
    override_risk(
        device=ward.work.devices[0], risk_class=RiskClass.LIFE_SUPPORT, reason="It holds people up.",
        from_on=day(4, 30), signed_by=ward.work.story.person, **ward.work.story.by(day(5, 1), hour=9),
    )  # fmt: skip
    ward.sweep(day(6, 1))
    letters = Delivery.objects.filter(channel=AlertChannel.MAIL, alert__kind="high_risk_overdue")
    assert list(letters.values_list("person", "alert__about")) == [(ward.work.story.person, due(ward, MAY))]


def test_it_is_over_when_the_next_is_done(ward: Ward) -> None:
    ward.sweep(day(6, 1))
    ward.work.story.inspect(day(6, 4))
    ward.follow(day(6, 4), hour=19)
    assert open_to(ward.work.ruan.person, day(6, 4)) == []
    ward.sweep(day(6, 7), day(6, 8))
    assert told(ward, MAY) == [("overdue", 1)]


def test_when_the_next_is_missed_too_that_one_is_told_instead(ward: Ward) -> None:
    ward.sweep(day(6, 1))
    ward.work.story.sweep(day(7, 1))
    ward.sweep(day(7, 1))
    assert told(ward, JUNE) == [("overdue", 1)]
    (only,) = open_to(ward.work.ruan.person, day(7, 1))
    assert "its window closed on 30 June 2026" in only


def test_the_follower_finds_what_was_not_done_after_all(ward: Ward) -> None:
    ward.work.story.inspect(day(5, 20))
    session = InspectionSession.objects.current().get(performed_on=day(5, 20))
    ward.sweep(day(6, 2))
    assert told(ward, MAY) == []
    take_back_session(wrong=session, reason="It was another table.", **ward.work.story.by(day(6, 2)))
    ward.follow(day(6, 2), hour=20)
    assert told(ward, MAY) == [("overdue", 1)]
