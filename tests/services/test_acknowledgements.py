"""Who knew what, and when, is a fact; it stops nothing that stays undone."""

import datetime as dt

import pytest

from pmcore.engines.records import Actor
from pmcore.engines.vocabulary import AlertKind, Role
from pmcore.models import Alert, AlertAcknowledgement, Entry
from pmcore.queries.alerts import open_alerts, unacknowledged
from pmcore.queries.head import head
from pmcore.queries.verification import verify
from pmcore.services.acknowledgements import AcknowledgedBefore, NotTold, acknowledge
from pmcore.services.refusals import NotAllowed
from pmcore.services.requests import Request
from tests.alert_cast import CLOSES, Ward, a_ward
from tests.cast import check_refused
from tests.story import moment

pytestmark = pytest.mark.django_db

ONE = dt.timedelta(days=1)
LATE = CLOSES + ONE


@pytest.fixture
def ward() -> Ward:
    ward = a_ward()
    ward.rule(AlertKind.OVERDUE, (1, Role.TECHNICIAN), (7, Role.TECHNICIAN), (7, Role.SCHEDULER))
    ward.sweep(LATE)
    return ward


def alert_of(ward: Ward, number: int = 0, days: int = 1) -> int:
    return int(Alert.objects.get(device=ward.work.devices[number], days=days).pk)


def test_it_stands_in_the_history_of_the_device(ward: Ward) -> None:
    ruan = ward.work.ruan
    receipt = acknowledge(alert=alert_of(ward), actor=ruan, at=moment(LATE, 22), note="On Friday.")
    said = AlertAcknowledgement.objects.get()
    assert receipt.subject == said.thing == ward.work.devices[0]
    assert (said.person_id, said.days, said.acknowledged_on) == (ruan.person, 1, LATE), "the day at the site"
    assert said.note.words == "On Friday."
    assert Entry.objects.get(seq=receipt.seq).kind == "alert_acknowledged"
    assert verify().sound


def test_it_is_counted_no_more_for_anybody_who_was_told(ward: Ward) -> None:
    ruan, saskia = ward.work.ruan.person or 0, ward.work.saskia.person or 0
    assert (unacknowledged(ruan), unacknowledged(saskia)) == (3, 3)
    acknowledge(alert=alert_of(ward), actor=ward.work.ruan, at=moment(LATE))
    assert (unacknowledged(ruan), unacknowledged(saskia)) == (2, 2)
    listed = open_alerts(saskia, as_of=LATE, known=head().size)
    assert (listed.total, listed.waiting) == (3, 2)
    last = listed.rows[-1]
    assert last.alert == alert_of(ward)
    assert [(each.name, each.note) for each in last.acknowledged] == [("Ruan Tesk", None)]


def test_what_stays_undone_climbs_on_and_is_counted_again(ward: Ward) -> None:
    ruan = ward.work.ruan
    acknowledge(alert=alert_of(ward), actor=ruan, at=moment(LATE))
    assert ward.sweep(CLOSES + 7 * ONE) == 3
    assert unacknowledged(ruan.person or 0) == 3
    assert unacknowledged(ward.work.jorun.person or 0) == 3
    acknowledge(alert=alert_of(ward, days=7), actor=ruan, at=moment(CLOSES + 7 * ONE))
    assert unacknowledged(ruan.person or 0) == 2
    assert AlertAcknowledgement.objects.count() == 2


def test_every_step_told_so_far_is_known_at_once(ward: Ward) -> None:
    ward.sweep(CLOSES + 7 * ONE)
    acknowledge(alert=alert_of(ward, days=7), actor=ward.work.ruan, at=moment(CLOSES + 7 * ONE))
    assert sorted(AlertAcknowledgement.objects.values_list("days", flat=True)) == [1, 7]
    assert Entry.objects.filter(kind="alert_acknowledged").count() == 1


def test_what_is_done_goes_away_from_the_open_list_by_itself(ward: Ward) -> None:
    ruan = ward.work.ruan.person or 0
    ward.work.story.inspect(LATE, device=ward.work.devices[0], done_at=moment(LATE, 9))
    assert open_alerts(ruan, as_of=LATE, known=head().size).total == 2, "at once"
    assert unacknowledged(ruan) == 3, "the count when somebody has looked"
    ward.follow(LATE)
    assert unacknowledged(ruan) == 2
    acknowledge(alert=alert_of(ward), actor=ward.work.ruan, at=moment(LATE, 13))
    assert AlertAcknowledgement.objects.count() == 1, "who knew of it may be said when it is done"


def test_as_known_before_nobody_had_said_so(ward: Ward) -> None:
    size = head().size
    acknowledge(alert=alert_of(ward), actor=ward.work.ruan, at=moment(LATE))
    assert open_alerts(ward.work.ruan.person or 0, as_of=LATE, known=size).waiting == 3


def test_one_matter_is_one_row_at_its_gravest_and_furthest(ward: Ward) -> None:
    ward.sweep(CLOSES + 7 * ONE)
    listed = open_alerts(ward.work.ruan.person or 0, as_of=CLOSES + 7 * ONE, known=head().size)
    assert [row.days for row in listed.rows] == [7, 7, 7]


def test_the_list_goes_on_in_pages(ward: Ward) -> None:
    ruan, size = ward.work.ruan.person or 0, head().size
    whole = [row.alert for row in open_alerts(ruan, as_of=LATE, known=size).rows]
    first = open_alerts(ruan, as_of=LATE, known=size, limit=2)
    rest = open_alerts(ruan, as_of=LATE, known=size, after=first.next_after or 0, limit=2)
    assert (first.next_after, rest.next_after) == (2, None)
    assert [row.alert for row in (*first.rows, *rest.rows)] == whole


# Refusals


def test_twice_is_refused_and_a_retry_is_answered(ward: Ward) -> None:
    request = Request.of("a-key", ["known"])
    first = acknowledge(alert=alert_of(ward), actor=ward.work.ruan, at=moment(LATE), request=request)
    with check_refused(AcknowledgedBefore):
        acknowledge(alert=alert_of(ward), actor=ward.work.ruan, at=moment(LATE))
    again = acknowledge(alert=alert_of(ward), actor=ward.work.ruan, at=moment(LATE), request=request)
    assert (again.seq, again.repeated) == (first.seq, True)
    assert acknowledge(alert=alert_of(ward), actor=ward.work.saskia, at=moment(LATE)).seq == first.seq + 1


def test_who_was_not_told_knows_nothing(ward: Ward) -> None:
    for actor in (ward.work.jorun, ward.work.tove, ward.work.story.manager):
        with check_refused(NotTold):
            acknowledge(alert=alert_of(ward), actor=actor, at=moment(LATE))
    with check_refused(NotTold):
        acknowledge(alert=10**9, actor=ward.work.ruan, at=moment(LATE))


@pytest.mark.parametrize("role", [Role.AUDITOR, Role.CLINICAL_LEAD])
def test_some_roles_acknowledge_nothing(ward: Ward, role: Role) -> None:
    actor = Actor(ward.work.ruan.person, role, ward.work.ruan.sites)
    with check_refused(NotAllowed):
        acknowledge(alert=alert_of(ward), actor=actor, at=moment(LATE))
