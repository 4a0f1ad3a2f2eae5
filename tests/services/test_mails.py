"""A letter is sent once, by whichever worker; a silent server, a refusal or a missing address loses none."""

import datetime as dt
import re
from collections.abc import Callable, Iterator
from email.message import EmailMessage
from itertools import pairwise
from typing import Any

import pytest

from pmcore.alert_mail import compose
from pmcore.engines.records import SYSTEM
from pmcore.engines.vocabulary import AlertKind, HoldReason, MailState, Role
from pmcore.models import Account, Mail
from pmcore.services import mails
from pmcore.services.assignments import assign_inspections
from pmcore.services.holds import place_hold
from pmcore.services.mails import send, wake_due
from pmcore.services.people import register_person
from tests.alert_cast import CLOSES, Ward, a_ward
from tests.services.test_append_concurrently import at_once
from tests.sink import Sink, a_sink, free_port
from tests.story import moment

ONE = dt.timedelta(days=1)
MORNING = moment(CLOSES + ONE, 7)
JORUN = "jorun.keld@quillmere.example"


@pytest.fixture
def sink(settings: Any) -> Iterator[Sink]:
    with a_sink() as (found, port):
        use(settings, port)
        yield found


def use(settings: Any, port: int) -> None:
    settings.EMAIL_BACKEND = "django.core.mail.backends.smtp.EmailBackend"
    settings.EMAIL_HOST, settings.EMAIL_PORT = "127.0.0.1", port


@pytest.fixture
def woken(monkeypatch: pytest.MonkeyPatch) -> list[int]:
    """The letters for which a worker is woken."""
    found: list[int] = []
    monkeypatch.setattr(mails, "wake", lambda _, mail: found.append(mail))
    return found


def a_letter(ward: Ward) -> int:
    """To the scheduler, on the morning after three windows closed."""
    ward.rule(AlertKind.OVERDUE, (1, Role.SCHEDULER))
    ward.sweep(CLOSES + ONE)
    return int(Mail.objects.get().pk)


def addressed(ward: Ward, address: str = JORUN) -> Ward:
    Account.objects.create(username="jorun", person_id=ward.work.jorun.person, email=address)
    return ward


def sent(mail: int, at: dt.datetime = MORNING, **options: Any) -> MailState | None:
    return send(mail=mail, at=at, **{"seconds": 120, "compose": compose, **options})


@pytest.mark.django_db
def test_a_letter_is_sent_once_and_not_before_its_hour(sink: Sink) -> None:
    mail = a_letter(addressed(a_ward()))
    assert sent(mail, MORNING - dt.timedelta(seconds=1)) is None
    assert sent(mail) is MailState.SENT
    assert sent(mail) is None
    assert sent(mail, MORNING + 400 * ONE) is None
    (letter,) = sink.letters
    assert letter["To"] == JORUN
    assert letter["Message-ID"] == Mail.objects.get().message_id
    assert letter["Date"].datetime == MORNING
    assert letter["Subject"] == "pmcore: Three inspections are overdue"


@pytest.mark.django_db
def test_plain_text_and_html_say_the_same(sink: Sink) -> None:
    ward = addressed(a_ward())
    mail = a_letter(ward)
    ward.work.story.inspect(CLOSES + ONE, device=ward.work.devices[0], done_at=moment(CLOSES + ONE, 6))
    sent(mail, moment(CLOSES + ONE, 20))
    (letter,) = sink.letters
    assert letter.get_content_type() == "multipart/alternative"
    assert [part.get_content_type() for part in letter.iter_parts()] == ["text/plain", "text/html"]
    for part in letter.iter_parts():
        assert isinstance(part, EmailMessage)
        words = " ".join(part.get_content().split())
        assert "Two inspections are overdue." in words
        assert "Thursday 16 July 2026, for Jorun Keld-Amsel" in words
        assert "T-0001 (Orvane Marl, serial N-1)" in words
        said = "Tables, yearly: 1 day overdue; the window closed on 15 July 2026. It is given to nobody."
        assert words.count(said) == 2
        assert "Done meanwhile" in words
        assert "Tables, yearly: met late by now." in words


@pytest.mark.django_db
@pytest.mark.parametrize("address", ["", "https://pm.example:8443"])
def test_a_letter_links_to_the_pages_where_their_address_is_known(sink: Sink, settings: Any, address: str) -> None:
    settings.PAGE_ADDRESS = address
    ward = addressed(a_ward())
    sent(a_letter(ward))
    (letter,) = sink.letters
    text, html = (part.get_content() for part in letter.iter_parts() if isinstance(part, EmailMessage))
    linked = set(re.findall(r'href="([^"]+)"', html))
    if not address:
        assert (linked, "http" in text) == (set(), False)
        return
    assert linked == {f"{address}/alerts/", *(f"{address}/equipment/{device}/" for device in ward.work.devices)}
    assert {word for word in text.split() if word.startswith("http")} == linked


@pytest.mark.django_db
def test_a_letter_says_since_when_and_why_a_device_is_held(sink: Sink) -> None:
    ward = addressed(a_ward())
    ward.rule(AlertKind.LONG_HOLD, (14, Role.SCHEDULER))
    on, manager = CLOSES - 13 * ONE, ward.work.story.manager
    held = {"reason": HoldReason.NOT_DECONTAMINATED, "from_on": on, "actor": manager, "at": moment(on)}
    place_hold(device=ward.work.devices[2], **held)
    ward.sweep(CLOSES + ONE)
    sent(int(Mail.objects.get().pk))
    (letter,) = sink.letters
    words = " ".join(str(letter.get_body(("plain",)).get_content()).split())  # type: ignore[union-attr]
    said = "It has been on hold for 14 days, since 2 July 2026, because it was not decontaminated."
    assert said in words


@pytest.mark.django_db
def test_names_do_no_harm_in_a_letter(sink: Sink) -> None:
    ward = a_ward()
    register_person(
        name="<b>Ingrid</b> & Co", role=Role.SCHEDULER, sites=ward.work.story.sites, from_on=CLOSES, actor=SYSTEM,
        at=moment(CLOSES), email="ingrid@quillmere.example",
    )  # fmt: skip
    ward.rule(AlertKind.OVERDUE, (1, Role.SCHEDULER))
    ward.sweep(CLOSES + ONE)
    for mail in Mail.objects.values_list("pk", flat=True):
        sent(mail)
    (letter,) = sink.letters
    text, html = (part.get_content() for part in letter.iter_parts() if isinstance(part, EmailMessage))
    assert "<b>Ingrid</b> & Co" in text
    assert "&lt;b&gt;Ingrid&lt;/b&gt; &amp; Co" in html


@pytest.mark.django_db
def test_who_has_no_address_is_told_in_the_application_alone_and_the_row_says_so(sink: Sink) -> None:
    mail = a_letter(a_ward())
    assert sent(mail) is MailState.NO_ADDRESS
    row = Mail.objects.get()
    assert row.error == "Nobody recorded an address; told in the application alone."
    assert sent(mail, MORNING + ONE) is None
    assert sink.letters == []


@pytest.mark.django_db
def test_the_address_in_the_record_goes_before_that_of_the_account(sink: Sink) -> None:
    ward = a_ward()
    person = register_person(
        name="Ingrid Aske-Lund", role=Role.CLINICAL_LEAD, sites=ward.work.story.sites[:1], from_on=CLOSES,
        actor=SYSTEM, at=moment(CLOSES), email="ingrid@quillmere.example",
    ).subject  # fmt: skip
    Account.objects.create(username="ingrid", person_id=person, email="other@quillmere.example")
    ward.rule(AlertKind.OVERDUE, (1, Role.CLINICAL_LEAD))
    ward.sweep(CLOSES + ONE)
    sent(Mail.objects.get().pk)
    assert [letter["To"] for letter in sink.letters] == ["ingrid@quillmere.example"]


# A server that is down for a day


@pytest.mark.django_db
def test_a_server_that_is_down_for_a_day_delays_everything_and_loses_nothing(settings: Any, woken: list[int]) -> None:
    """Minute by minute, as the sweep does it."""
    ward = addressed(a_ward())
    first = a_letter(ward)
    ward.rule(AlertKind.OVERDUE, (1, Role.SCHEDULER), at_once=True)
    ward.sweep(CLOSES + 2 * ONE)
    port = free_port()
    use(settings, port)
    at, tries = MORNING, []
    while at < MORNING + ONE + dt.timedelta(hours=1):
        woken.clear()
        wake_due(at=at)
        tries += [(mail, at) for mail in woken if sent(mail, at) is MailState.WAITING]
        at += dt.timedelta(minutes=1)
    assert {mail for mail, _ in tries} == {first}, "one letter tries for all of them"
    pauses = [(later - earlier).total_seconds() for (_, earlier), (_, later) in pairwise(tries)]
    assert pauses[:5] == [60, 120, 240, 480, 900]
    assert set(pauses[5:]) == {900}
    row = Mail.objects.get(pk=first)
    assert "refused" in row.error
    assert row.server_silent
    with a_sink(port) as (sink, _):
        at = row.next_try_at
        assert sent(first, at) is MailState.SENT
        assert sorted(woken[-1:]) == sorted(Mail.objects.exclude(pk=first).values_list("pk", flat=True))
        for mail in woken[-1:]:
            assert sent(mail, at) is MailState.SENT
        assert wake_due(at=at + ONE) == 0
        assert sorted(sink.by_id.values()) == [1, 1]


@pytest.mark.django_db
def test_a_letter_that_is_refused_waits_longer_each_time_and_holds_up_no_other(sink: Sink) -> None:
    mail = a_letter(addressed(a_ward()))
    sink.refuses = "550 no such person here"
    at, pauses = MORNING, []
    for _ in range(12):
        assert sent(mail, at) is MailState.WAITING
        row = Mail.objects.get()
        pauses.append((row.next_try_at - at).total_seconds())
        at = row.next_try_at
    assert pauses[:4] == [300, 600, 1200, 2400]
    assert pauses[-1] == 86_400
    assert "550" in row.error
    assert "no such person here" in row.error
    assert not row.server_silent
    sink.refuses = None
    assert sent(mail, at) is MailState.SENT
    assert not Mail.objects.get().perhaps_twice, "the server said that it did not take it"
    assert len(sink.letters) == 1


@pytest.mark.django_db
def test_a_letter_that_cannot_be_written_is_kept_with_its_reason(sink: Sink) -> None:
    mail = a_letter(addressed(a_ward(), address="jorun\n@quillmere.example"))
    assert sent(mail) is MailState.WAITING
    assert "BadHeaderError" in Mail.objects.get().error or "newline" in Mail.objects.get().error
    assert sink.letters == []


# Workers that die


@pytest.mark.django_db
def test_a_worker_that_died_before_it_handed_the_letter_over_repeats_nothing(sink: Sink) -> None:
    mail = a_letter(addressed(a_ward()))
    assert sent(mail, compose=dies) is None
    assert sent(mail, MORNING + dt.timedelta(seconds=119)) is None, "somebody has it"
    assert sent(mail, MORNING + dt.timedelta(seconds=120)) is MailState.SENT
    assert not Mail.objects.get().perhaps_twice
    assert len(sink.letters) == 1


@pytest.mark.django_db
def test_a_worker_that_died_when_the_server_had_the_letter_sends_it_again_under_the_same_name(
    sink: Sink, monkeypatch: pytest.MonkeyPatch
) -> None:
    mail = a_letter(addressed(a_ward()))
    with monkeypatch.context() as killed:
        killed.setattr(mails, "_end", dies)
        assert sent(mail) is None
    row = Mail.objects.get()
    assert (row.state, row.handed_over) == (MailState.SENDING, True)
    assert sent(mail, MORNING + dt.timedelta(seconds=120)) is MailState.SENT
    assert Mail.objects.get().perhaps_twice
    assert sink.by_id == {row.message_id: 2}


@pytest.mark.django_db
def test_a_server_that_hangs_up_after_it_took_the_letter_may_get_it_twice_and_the_row_says_so(sink: Sink) -> None:
    mail = a_letter(addressed(a_ward()))
    sink.hangs_up = True
    assert sent(mail) is MailState.WAITING
    sink.hangs_up = False
    assert sent(mail, Mail.objects.get().next_try_at) is MailState.SENT
    assert Mail.objects.get().perhaps_twice
    assert set(sink.by_id.values()) == {2}


def dies(*_: object, **__: object) -> Any:
    """It writes nothing more, as one that was killed."""
    raise mails._Lost


# Many hands


@pytest.mark.django_db(transaction=True)
def test_of_eight_workers_one_sends_the_letter(sink: Sink) -> None:
    mail = a_letter(addressed(a_ward()))
    done = at_once(8, lambda _: sent(mail))
    assert done.count(MailState.SENT) == 1
    assert done.count(None) == 7
    assert len(sink.letters) == 1


@pytest.mark.django_db(transaction=True)
def test_what_comes_while_a_letter_is_taken_goes_into_the_next_one(sink: Sink) -> None:
    ward = addressed(a_ward())
    ward.rule(AlertKind.OVERDUE, (1, Role.SCHEDULER))
    ward.rule(AlertKind.DUE_UNASSIGNED, (14, Role.SCHEDULER))
    ward.sweep(CLOSES - ONE)
    (mail,) = Mail.objects.values_list("pk", flat=True)
    assert sent(mail, moment(CLOSES - ONE, 7)) is MailState.SENT
    ward.sweep(CLOSES + ONE)
    late, early = Mail.objects.order_by("-day")
    assert (early.pk, late.day) == (mail, CLOSES + ONE)
    assert early.deliveries.count() == late.deliveries.count() == 3


def no_work(ward: Ward, do: Callable[..., Any] = assign_inspections) -> None:
    do(due_inspections=ward.work.dues, person=ward.work.ruan.person, on=CLOSES, half=None, actor=ward.work.jorun,
       at=moment(CLOSES - 20 * ONE))  # fmt: skip


@pytest.mark.django_db
def test_what_was_done_before_the_morning_is_said_to_be_done(sink: Sink) -> None:
    ward = addressed(a_ward())
    ward.rule(AlertKind.DUE_UNASSIGNED, (14, Role.SCHEDULER))
    ward.sweep(CLOSES - 3 * ONE)
    no_work(ward)
    assert sent(Mail.objects.get().pk, moment(CLOSES - 3 * ONE, 7)) is MailState.SENT
    (letter,) = sink.letters
    assert letter["Subject"] == "pmcore: What you were to be told of has been done meanwhile"


@pytest.mark.django_db
def test_a_second_letter_is_another_one(sink: Sink) -> None:
    ward = addressed(a_ward())
    ward.rule(AlertKind.OVERDUE, (1, Role.SCHEDULER), (7, Role.SCHEDULER))
    for on in (CLOSES + ONE, CLOSES + 7 * ONE):
        ward.sweep(on)
    for mail in Mail.objects.values_list("pk", flat=True):
        assert sent(mail, moment(CLOSES + 8 * ONE, 7)) is MailState.SENT
    assert sorted(sink.by_id.values()) == [1, 1]
