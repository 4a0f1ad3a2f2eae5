"""History: an export is asked for, made, fetched and given up from the page, without a script."""

import pytest

from pmcore import tasks
from pmcore.engines.vocabulary import Role
from pmcore.models import ExportStatement, Job
from pmcore.queries.head import head
from tests.cast import a_hospital, a_person
from tests.dashboards.signed_in import set_clock, signed_in
from tests.export.building import NOW

pytestmark = pytest.mark.django_db


@pytest.fixture
def hospital(settings, tmp_path, monkeypatch):
    settings.DATA, settings.SIGNING_KEY = tmp_path, tmp_path / "signing-key"
    set_clock(monkeypatch, NOW)
    return a_hospital()


@pytest.fixture
def auditor(hospital):
    return signed_in(a_person("Ines Kaldervik", Role.AUDITOR, hospital.alderwick, hospital.stennet))


def page_of(browser, **asked) -> str:
    return browser.get("/history/", asked).content.decode()


def test_before_anything_it_says_what_would_fill_it(auditor):
    page = page_of(auditor)
    assert f"The record has {head().size} entries; nobody has verified it yet." in page
    assert "Nothing was exported yet" in page
    assert "No head has been signed yet" in page


def test_an_export_is_asked_for_made_and_fetched(auditor):
    answer = auditor.post("/history/", {"from": "", "to": "", "known": ""}, follow=True)
    assert answer.redirect_chain == [("/history/", 302)]
    assert "Asked for." in answer.content.decode()
    assert "waiting for a worker" in page_of(auditor)
    tasks.run_job(Job.objects.get().pk)
    page = page_of(auditor)
    assert "Key fingerprint" in page
    for name in ("history.ndjson", "history.csv", "pack.zip"):
        address = f"/api/v1/history-exports/{Job.objects.get().pk}/{name}"
        assert f'href="{address}"' in page
        assert auditor.get(address).status_code == 200


@pytest.mark.parametrize(
    ("sent", "says"),
    [
        ({"from": "2026-02-01", "to": "2026-01-01"}, "The period begins on 2026-02-01"),
        ({"from": "soon"}, "is no date"),
        ({"known": "999999"}, "not 999999"),
        ({"known": "0"}, "nothing is left"),
        ({"known": "many"}, "is no whole number"),
        ({"site": "999999"}, "You are no member"),
        ({"colour": "blue"}, "There is no parameter"),
    ],
)
def test_what_will_not_do_stands_beside_its_field_and_is_kept(auditor, sent, says):
    answer = auditor.post("/history/", {"to": "2026-12-24", **sent})
    page = answer.content.decode()
    assert answer.status_code == 400
    assert says in page
    assert f'value="{sent.get("to", "2026-12-24")}"' in page
    assert not Job.objects.exists()


def test_one_is_given_up(auditor):
    auditor.post("/history/", {})
    export = Job.objects.get().pk
    assert "It is given up" in auditor.post(f"/history/exports/{export}/cancel/", follow=True).content.decode()
    page = page_of(auditor)
    assert "not made" in page
    assert "It was cancelled." in page


def test_an_export_that_is_kept_from_somebody_is_not_there_for_them(hospital, auditor):
    auditor.post("/history/", {})
    other = signed_in(a_person("Tove Hallam", Role.AUDITOR, hospital.stennet))
    export = Job.objects.get().pk
    assert other.post(f"/history/exports/{export}/cancel/").status_code == 404
    assert other.get(f"/api/v1/history-exports/{export}/").status_code == 404
    assert "Nothing was exported yet" in page_of(other)
    assert Job.objects.get().state == "waiting"


def test_the_record_is_verified_on_request(auditor):
    auditor.post("/history/verify/")
    assert "A verification is at work: waiting for a worker." in page_of(auditor)
    tasks.run_job(Job.objects.get().pk)
    assert "entries; all were verified on 31 October 2026 and are sound." in page_of(auditor)


def test_the_scope_is_told_in_words(hospital, auditor):
    auditor.post("/history/", {"from": "2026-10-01", "to": "2026-10-31", "site": str(hospital.stennet)})
    assert "From" not in page_of(auditor).partition("<h3>")[2][:40]
    assert "entries, from 1 October 2026 to 31 October 2026, at Stennet Point" in page_of(auditor)


@pytest.mark.parametrize("role", [role for role in Role if role is not Role.SYSTEM])
def test_it_is_the_page_of_those_who_check(hospital, role):
    status = signed_in(a_person("Somebody", role, hospital.alderwick)).get("/history/").status_code
    assert status == (200 if role in {Role.AUDITOR, Role.MANAGER, Role.ADMINISTRATOR} else 403)


def test_a_post_by_another_method_is_refused(auditor):
    assert auditor.get("/history/verify/").status_code == 405


def test_its_statements_do_not_grow_with_the_exports(auditor, django_assert_max_num_queries):
    for known in (5, 6, 7):
        auditor.post("/history/", {"known": str(known)})
        tasks.run_job(Job.objects.latest("pk").pk)
    assert ExportStatement.objects.count() == 3
    with django_assert_max_num_queries(15):
        page_of(auditor)
