"""Fault reports that nobody has answered: at the head of the equipment, and on a page of their own."""

import re

import pytest

from pmcore.engines.vocabulary import Role
from tests.bench_cast import Bench, a_bench, moment
from tests.cast import a_device, a_person
from tests.dashboards.signed_in import set_clock, signed_in
from tests.dashboards.test_bench import text_of
from tests.fault_cast import found, minor, report_of, reported

pytestmark = pytest.mark.django_db


@pytest.fixture
def bench(monkeypatch) -> Bench:
    set_clock(monkeypatch, moment(6, 10, 9))
    return a_bench()


def test_they_are_told_in_sentences_the_oldest_first_and_harm_before_what_was_seen(bench):
    reported(bench, during_use=True)
    reported(bench, account="It tips", could_harm=True, seen_at=moment(6, 2))
    page = signed_in(bench.ruan).get("/equipment/reported/")
    said = text_of(page)
    assert "Two faults are reported that nobody has looked at; one of them could harm somebody." in said
    first, second = (
        "It sank by itself. Seen on 1 June 2026 by Ruan Tesk, in use.",
        "It could harm somebody. It tips. Seen on 2 June 2026 by Ruan Tesk.",
    )
    assert 0 < said.index(first) < said.index(second)
    assert page.content.decode().count(f'href="/equipment/{bench.device}/"') == 2


def test_what_a_finding_answers_is_no_longer_there(bench):
    report = report_of(reported(bench))
    browser = signed_in(bench.ruan)
    assert "One fault is reported that nobody has looked at." in text_of(browser.get("/equipment/reported/"))
    found(bench, minor(fault_report=report))
    said = text_of(browser.get("/equipment/reported/"))
    assert "Every reported fault has been looked at." in said
    assert "stands here until a finding answers it" in said
    assert 'id="reported"' not in browser.get("/equipment/").content.decode()


def test_the_list_of_equipment_begins_with_the_five_oldest(bench):
    for number in range(7):
        reported(bench, account=f"Fault {number}.")
    browser = signed_in(bench.odile)
    page = browser.get("/equipment/")
    assert re.findall(r"Fault \d", page.content.decode()) == [f"Fault {number}" for number in range(5)]
    assert "More than five faults are reported that nobody has looked at." in text_of(page)
    assert "All that are reported" in text_of(page)
    assert "Fault 0" not in text_of(browser.get("/equipment/?words=T-0001"))  # whoever searches is not held up
    assert "Fault 0" in text_of(browser.get(f"/equipment/?site={bench.alderwick}"))


def test_the_page_goes_on_after_fifty(bench):
    for number in range(51):
        reported(bench, account=f"Fault {number}.")
    browser = signed_in(bench.ruan)
    page = browser.get("/equipment/reported/")
    assert "More than 50 faults are reported" in text_of(page)
    after = re.search(r'href="(\?after=\d+)"', page.content.decode())
    assert after is not None
    rest = browser.get(f"/equipment/reported/{after[1]}")
    assert re.findall(r"Fault \d+", rest.content.decode()) == ["Fault 50"]


def test_another_sites_reports_are_not_there(bench):
    other = a_device(a_person("Per Aldous", Role.MANAGER, bench.stennet), bench.model, "OM-9", bench.ward)
    tove = a_person("Tove Lind", Role.TECHNICIAN, bench.stennet)
    reported(bench, device=other, actor=tove, account="Elsewhere.")
    reported(bench, account="Here.")
    for person, seen, unseen in ((bench.ruan, "Here.", "Elsewhere."), (tove, "Elsewhere.", "Here.")):
        page = text_of(signed_in(person).get("/equipment/reported/"))
        assert "One fault is reported that nobody has looked at." in page
        assert seen in page
        assert unseen not in page


@pytest.mark.parametrize(
    ("role", "status"), [(Role.SCHEDULER, 200), (Role.CLINICAL_LEAD, 403), (Role.AUDITOR, 403), (Role.PROVIDER, 403)]
)
def test_it_is_for_those_who_answer_them(bench, role, status):
    reported(bench)
    browser = signed_in(a_person("Ines Caddock", role, bench.alderwick))
    assert browser.get("/equipment/reported/").status_code == status
    if role is not Role.PROVIDER:
        assert ('id="reported"' in browser.get("/equipment/").content.decode()) == (status == 200)


@pytest.mark.parametrize("wrong", ["after=x", "after=1&after=2", "colour=blue"])
def test_a_wrong_address_is_said(bench, wrong):
    page = signed_in(bench.ruan).get(f"/equipment/reported/?{wrong}")
    assert page.status_code == 400
    assert "The list cannot be shown as it was asked for." in text_of(page)
