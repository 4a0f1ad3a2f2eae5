"""The administrator's page: what matters in a sentence, jobs that are tried again, sites and readers that are behind,
and the record, verified on request."""

import datetime as dt
import re
from typing import Any

import pytest
from django.db import connection
from django.test import Client

from pmcore import tasks
from pmcore.engines.records import SYSTEM
from pmcore.engines.vocabulary import JobState, Role
from pmcore.models import AlertSweep, Follower, Job, SiteSweep, Text, guards
from pmcore.queries.alert_rules import rules_on
from pmcore.queries.head import head
from pmcore.services import jobs
from pmcore.services.alert_rules import change_rule, make_default_rules
from pmcore.services.exports import ask_export, cancel_export
from pmcore.services.redaction import redact_text
from pmcore.services.signing import sign_growth
from tests.cast import AT, Hospital, a_hospital, a_person
from tests.dashboards.signed_in import set_clock, signed_in
from tests.export.building import NOW

pytestmark = pytest.mark.django_db

TODAY = NOW.date()
DAY = dt.timedelta(days=1)
BUSY = "RecordBusy: The record is busy"


@pytest.fixture
def hospital(settings: Any, tmp_path: Any, monkeypatch: pytest.MonkeyPatch) -> Hospital:
    """Whose sites were swept today, and whose people are told of what falls due."""
    settings.DATA, settings.SIGNING_KEY = tmp_path, tmp_path / "signing-key"
    set_clock(monkeypatch, NOW)
    hospital = a_hospital()
    for site in (hospital.alderwick, hospital.stennet):
        SiteSweep.objects.create(site_id=site, swept_on=TODAY, swept_at=NOW)
        AlertSweep.objects.create(site_id=site, swept_on=TODAY)
    make_default_rules(from_on=TODAY, actor=SYSTEM, at=AT)
    return hospital


@pytest.fixture
def wim(hospital: Hospital) -> Client:
    return signed_in(hospital.wim)


def page_of(client: Client, answer: Any = None, status: int = 200) -> str:
    answer = client.get("/administration/") if answer is None else answer
    assert answer.status_code == status
    return " ".join(answer.content.decode().split())


def a_job(**values: Any) -> int:
    job = jobs.ask(kind="verify_record", unique_key="of 3 entries", arguments={}, actor=SYSTEM, at=NOW)
    Job.objects.filter(pk=job).update(**values)
    return job


def a_parked_job() -> int:
    return a_job(state=JobState.PARKED, attempts=5, ended_at=NOW, error=BUSY)


def retried(client: Client, job: int, parked_at: str = NOW.isoformat(), **options: Any) -> Any:
    return client.post(f"/administration/jobs/{job}/again/", {"parked_at": parked_at}, **options)


@pytest.mark.parametrize("role", sorted(set(Role) - {Role.SYSTEM}))
def test_it_is_the_administrators_page(hospital: Hospital, role: Role) -> None:
    client = signed_in(a_person("Somebody", role, hospital.alderwick))
    alone = role is Role.ADMINISTRATOR
    assert client.get("/administration/").status_code == (200 if alone else 403)
    assert (">Administration</a>" in client.get("/alerts/").content.decode()) == alone
    job = a_parked_job()
    assert retried(client, job).status_code == (302 if alone else 403)
    assert (Job.objects.get(pk=job).state == JobState.WAITING) == alone


# The sentence


def test_where_everything_runs_it_says_so(wim: Client) -> None:
    wim.post("/history/verify/")
    tasks.run_job(Job.objects.get().pk)
    said = (
        "Everything runs: no job is parked and every site was swept today. The record was last found sound on "
        "31 October 2026."
    )
    assert f'<h1 id="headline">{said}</h1>' in page_of(wim)
    assert "The installation is ready to serve" in page_of(wim)


def test_that_nobody_has_verified_the_record_is_a_sentence_of_its_own(wim: Client) -> None:
    said = "no job is parked and every site was swept today. Nobody has verified the record yet."
    assert f'<h1 id="headline">Everything runs: {said}</h1>' in page_of(wim)


def test_where_every_rule_is_switched_off_it_says_that_nobody_is_told(hospital: Hospital, wim: Client) -> None:
    for rule in rules_on(TODAY, head().size):
        change_rule(
            rule=rule.rule, steps=rule.steps, at_once=rule.at_once, hour=rule.hour, enabled=False, from_on=TODAY,
            actor=hospital.odile, at=NOW,
        )  # fmt: skip
    said = "Nobody is told of anything, as there is no rule or all are switched off."
    assert f'<h1 id="headline">{said}</h1>' in page_of(wim)


def test_what_stands_still_comes_first(hospital: Hospital, wim: Client) -> None:
    a_parked_job()
    SiteSweep.objects.filter(site_id=hospital.stennet).update(swept_on=TODAY - 2 * DAY)
    page = page_of(wim)
    assert '<h1 id="headline">One job is parked and Stennet Point was last swept two days ago.</h1>' in page
    assert "Behind: two days ago, 29 October 2026." in page


def test_several_sites_are_counted(hospital: Hospital, wim: Client) -> None:
    AlertSweep.objects.all().delete()
    assert '<h1 id="headline">Two sites are behind with their daily work.</h1>' in page_of(wim)
    SiteSweep.objects.filter(site_id=hospital.alderwick).update(swept_on=TODAY - DAY)
    assert "Behind: yesterday, 30 October 2026." in page_of(wim)
    assert "Never." in page_of(wim)


def test_a_reader_that_is_late_is_named(wim: Client) -> None:
    Follower.objects.create(name="alerts", seen=head().size - 1)  # written at seven, five hours ago
    page = page_of(wim)
    assert '<h1 id="headline">The reader “alerts” is behind.</h1>' in page
    assert "One entry is still to be read, the oldest since 31 October 2026, 07:00 UTC." in page


def test_what_keeps_it_from_serving_is_said_first(wim: Client) -> None:
    a_parked_job()
    guards.take_down(connection)
    try:
        page = page_of(wim)
    finally:
        guards.put_up(connection)
    assert '<h1 id="headline">The record is not guarded and one job is parked.</h1>' in page
    assert "A load balancer sends nobody here" in page


# Jobs


def test_before_any_job_it_says_so(wim: Client) -> None:
    page = page_of(wim)
    assert "None waits, none runs, none is parked." in page
    assert "No job was ever asked for." in page


def test_a_parked_job_says_why_and_is_tried_again(wim: Client) -> None:
    job = a_parked_job()
    page = page_of(wim)
    assert "Reason: RecordBusy: The record is busy." in page
    assert "Five attempts." in page
    assert f'name="parked_at" value="{NOW.isoformat()}"' in page
    answer = retried(wim, job, follow=True)
    assert answer.redirect_chain == [("/administration/", 302)]
    page = page_of(wim, answer)
    assert "It waits for a worker again" in page
    assert "One waits, none runs, none is parked." in page
    assert "Before, it ended with: RecordBusy: The record is busy." in page
    tasks.run_job(job)
    assert Job.objects.get(pk=job).state == JobState.DONE


def test_the_second_click_is_told_that_the_first_counted(wim: Client) -> None:
    job = a_parked_job()
    retried(wim, job)
    assert "Somebody tried it again already" in page_of(wim, retried(wim, job, follow=True))
    assert Job.objects.get(pk=job).state == JobState.WAITING


NO_MOMENTS = ["", "soon", "2026-10-31T12:00:00", "0001-01-01T00:00:00+23:59", "9999-12-31T23:59:59-23:59"]


@pytest.mark.parametrize("parked_at", NO_MOMENTS)
def test_a_form_that_says_nothing_changes_nothing(wim: Client, parked_at: str) -> None:
    job = a_parked_job()
    assert "Look at it as it is now" in page_of(wim, retried(wim, job, parked_at), status=400)
    assert Job.objects.get(pk=job).state == JobState.PARKED


def test_what_is_not_there_cannot_be_tried_again(wim: Client) -> None:
    assert retried(wim, 99).status_code == 404
    assert wim.get(f"/administration/jobs/{a_parked_job()}/again/").status_code == 405


def test_an_export_that_was_cancelled_has_no_button(hospital: Hospital, wim: Client) -> None:
    export = ask_export(actor=hospital.odile, at=NOW)
    cancel_export(export=export, actor=hospital.odile, at=NOW)
    page = page_of(wim)
    assert "none is parked" in page
    assert "Nobody wants it any more" in page
    assert "Try again" not in page
    assert "This export was cancelled." in page_of(wim, retried(wim, export), status=400)


def test_an_export_that_can_never_be_made_has_no_button(hospital: Hospital, wim: Client) -> None:
    export = ask_export(actor=hospital.odile, at=NOW)
    Job.objects.filter(pk=export).update(state=JobState.PARKED, ended_at=NOW, error="ExportOutdated: Ask again.")
    digest = Text.objects.order_by("entry")[0].digest
    redact_text(digest=digest, reason="Asked for.", actor=SYSTEM, at=NOW)
    page = page_of(wim)
    assert "Words were taken out of the record since; whoever wants it asks again on the page History." in page
    assert "Try again" not in page


def test_a_worker_that_was_not_heard_of_is_told_in_words(wim: Client) -> None:
    a_job(state=JobState.RUNNING, attempts=2, leased_until_at=NOW - dt.timedelta(minutes=1), progress="2 of 3")
    page = page_of(wim)
    assert "Attempt 2." in page
    assert "Its worker was last to be heard of by 31 October 2026, 11:59 UTC; another one takes it over." in page


def test_jobs_say_in_words_what_they_are_for(hospital: Hospital, wim: Client) -> None:
    tokens = {"token 3 read 2026-10-31": "note_token_use", "token 4 export 17 2026-10-30": "note_token_use"}
    for key, kind in {**tokens, "of 25370 entries": "verify_record", "token 3": "note_token_use"}.items():
        jobs.ask(kind=kind, unique_key=key, arguments={}, actor=SYSTEM, at=NOW)
    named = re.findall(r"<li><h3>(.*?)</h3>", page_of(wim))
    assert [re.sub("<[^>]*>", "", name) for name in named] == [
        "Note that token 3 was used on 31 October 2026",
        "Note that token 4 was used for an export on 30 October 2026",
        "Verify the record of 25,370 entries",
        "Note that a token was used token 3",
    ]


def test_an_export_says_who_asked_for_what(hospital: Hospital, wim: Client) -> None:
    size = head().size
    ask_export(sites=[hospital.stennet], actor=hospital.odile, at=NOW)
    page = page_of(wim)
    assert f"the first {size} entries, at Stennet Point" in page
    assert "Asked for on 31 October 2026, 12:00 UTC, by Odile Brandt-Ferro." in page


# The record


def test_the_record_is_verified_from_here_and_one_comes_back_here(wim: Client) -> None:
    answer = wim.post("/history/verify/", {"back": "administration"}, follow=True)
    assert answer.redirect_chain == [("/administration/", 302)]
    assert "A verification is at work: waiting for a worker." in page_of(wim, answer)
    tasks.run_job(Job.objects.get().pk)
    size = head().size
    assert f"The last verification ended on 31 October 2026, 12:00 UTC: of {size} entries, sound." in page_of(wim)


def test_what_a_verification_found_is_listed(wim: Client) -> None:
    answer = {"size": 3, "root": "", "sound": False, "faults": ["Entry 2 is not what was recorded."]}
    a_job(state=JobState.DONE, ended_at=NOW, answer=answer)
    page = page_of(wim)
    assert '<h1 id="headline">The record was found unsound.</h1>' in page
    assert "Entry 2 is not what was recorded." in page
    assert "of 3 entries, not sound, with one fault." in page


def test_size_root_and_the_last_signed_head(hospital: Hospital, wim: Client) -> None:
    assert "No head has been signed yet" in page_of(wim)
    sign_growth(at=NOW)
    size = head().size
    a_person("Tove Hallam", Role.AUDITOR, hospital.stennet)
    page = page_of(wim)
    since = head().size - size
    assert f"signed on 31 October 2026, 12:00 UTC, of {size} entries; {since} entr" in page
    assert page.count(head().root.hex()) == 2


def test_a_record_that_contradicts_itself_does_not_hide_the_page(wim: Client) -> None:
    guards.take_down(connection)
    with connection.cursor() as cursor:
        cursor.execute("UPDATE pmcore_entry SET edge = NULL WHERE seq = (SELECT max(seq) FROM pmcore_entry)")
    guards.put_up(connection)
    assert '<h1 id="headline">The newest entry of the record contradicts itself.</h1>' in page_of(wim)
    answer = wim.post("/history/verify/", {"back": "administration"}, follow=True)
    assert "Run manage.py verify_history" in page_of(wim, answer)
