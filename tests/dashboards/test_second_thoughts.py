"""From the lines of a device's page: a finding is seen otherwise, and what never was is taken back."""

import re
import uuid
from typing import Any

import pytest
from django.db import connection
from django.test import Client
from django.test.utils import CaptureQueriesContext

from pmcore.engines.vocabulary import Role
from pmcore.models import FaultDetails, FindingDetails, HoldDetails, ReleaseStatement, RoleHeld
from pmcore.models.rows import Row
from pmcore.queries.head import head
from pmcore.services.holds import place_hold
from tests.bench_cast import Bench, a_bench, moment
from tests.cast import AT, a_person
from tests.dashboards.signed_in import set_clock, signed_in
from tests.dashboards.test_bench import beside, text_of
from tests.fault_cast import (
    JUNE_1,
    JUNE_10,
    a_line,
    finding_of,
    found,
    hold_of,
    in_force,
    minor,
    release_of,
    released,
    repaired,
    report_of,
    reported,
)
from tests.history import written

pytestmark = pytest.mark.django_db

NOW = moment(6, 10, 9)
WORN = {
    "mode": "It sinks under load.", "subsystem": "drive", "failure": "functional", "severity": "stops_use",
    "cause": "wear", "training_on": "", "second_person": "", "note": "Looked at again.", "from_on": "2026-06-10",
}  # fmt: skip


@pytest.fixture
def bench(monkeypatch) -> Bench:
    set_clock(monkeypatch, NOW)
    return a_bench()


def address(bench: Bench, thing: str, key: int, deed: str = "take-back") -> str:
    return f"/equipment/{bench.device}/{thing}/{key}/{deed}/"


def send(browser: Client, where: str, **sent: Any):
    return browser.post(where, {"key": uuid.uuid4().hex, "reason": "It was another table.", **sent})


def told(browser: Client, answer) -> str:
    assert answer.status_code == 302, text_of(answer)
    return text_of(browser.get(answer.url))


def links(browser: Client, bench: Bench) -> list[str]:
    page = browser.get(f"/equipment/{bench.device}/").content.decode()
    return sorted(re.findall(rf'href="/equipment/{bench.device}/(\w[\w-]*/\d+/[\w-]+)/"', page))


def everything(bench: Bench) -> dict[str, int]:
    """A report, a finding, a hold in force and a release that lifted another one."""
    lifted = hold_of(place_hold(device=bench.device, reason="other", from_on=JUNE_10, actor=bench.ruan, at=AT))
    return {
        "releases": release_of(released(bench, lifted)),
        "fault-reports": report_of(reported(bench, could_harm=True)),
        "findings": finding_of(found(bench, minor(discovery="reported_in_use"))),
        "holds": hold_of(place_hold(device=bench.device, reason="other", from_on=JUNE_10, actor=bench.ruan, at=AT)),
    }


def test_each_line_leads_to_what_a_manager_may_do_about_it(bench):
    keys = everything(bench)
    (by_report,) = set(HoldDetails.objects.filter(reason="fault_reported").values_list("hold_id", flat=True))
    wanted = [f"{thing}/{key}/take-back" for thing, key in keys.items()]
    wanted += [f"findings/{keys['findings']}/reclassify", f"holds/{by_report}/take-back"]
    browser = signed_in(bench.odile)
    assert links(browser, bench) == sorted(wanted)
    for each in wanted:
        assert browser.get(f"/equipment/{bench.device}/{each}/").status_code == 200, each


def test_a_technician_sees_findings_otherwise_and_takes_nothing_back(bench):
    keys = everything(bench)
    browser, size = signed_in(bench.ruan), head().size
    assert links(browser, bench) == [f"findings/{keys['findings']}/reclassify"]
    for thing, key in keys.items():
        assert browser.get(address(bench, thing, key)).status_code == 403
        assert send(browser, address(bench, thing, key)).status_code == 403
    assert head().size == size


# Seen otherwise


def test_a_finding_is_seen_otherwise_from_a_day_on_and_turning_grave_holds_the_device(bench):
    finding = finding_of(found(bench, minor(discovery="reported_in_use")))
    browser, where = signed_in(bench.ruan), address(bench, "findings", finding, "reclassify")
    form = browser.get(where)
    assert "See it otherwise: 1 June 2026, drive: It creaks." in text_of(form)
    assert "Where it turns grave it holds the device in the same act" in text_of(form)
    page = form.content.decode()
    assert 'value="minor" checked' in page  # as it is seen now
    assert '<option value="wear" selected>' in page
    said = told(browser, send(browser, where, **WORN | {"mode": "It creaks.", "severity": "could_harm"}))
    assert "Seen otherwise now: It creaks. It sits in drive; cause wear." in said
    assert "It is grave, so the same act holds the device." in said
    view = FindingDetails.objects.latest("pk")
    assert (view.finding_id, view.severity, view.from_on, view.note.words) == (
        finding, "could_harm", JUNE_10, "Looked at again.",
    )  # fmt: skip
    assert [each.finding for each in in_force(bench, JUNE_10)] == [finding]
    assert "seen so since 10 June 2026" in text_of(browser.get(f"/equipment/{bench.device}/"))


@pytest.mark.parametrize(
    ("changed", "field", "says"),
    [
        ({"note": " "}, "f-note", "Say why it is seen otherwise."),
        ({"from_on": "2026-05-31"}, "f-from_on", "It is seen as it is now since a later day"),
        ({"from_on": ""}, "f-from_on", "Say from when."),
        ({"from_on": "soon"}, "f-from_on", "Say the day as 2026-10-31."),
        ({"from_on": "2026-06-11"}, "f-from_on", "That lies ahead."),
        ({"severity": ""}, "f-severity", "Say how grave it is."),
        ({"failure": "cosmetic"}, "f-severity", "neither harms nor stops its use."),
        ({"cause": "use_error"}, "f-training_on", "A use error takes the day of a training"),
        ({}, None, "Nothing is said of it that did not stand so before."),
    ],
)
def test_what_is_wrong_with_the_new_view_is_said_and_nothing_is_lost(bench, changed, field, says):
    finding = finding_of(found(bench, a_line(discovery="reported_in_use")))
    size, browser = head().size, signed_in(bench.ruan)
    answer = send(browser, address(bench, "findings", finding, "reclassify"), **WORN | changed)
    assert answer.status_code == 400
    assert says in (beside(answer, field) if field else text_of(answer))
    assert "It sinks under load." in answer.content.decode()
    assert head().size == size


def test_what_was_said_once_is_changed_and_not_emptied(bench):
    first = finding_of(found(bench, minor(discovery="reported_in_use")))
    second = finding_of(found(bench, a_line(discovery="reported_in_use", same_root_as=first)))
    where = address(bench, "findings", second, "reclassify")
    answer = send(signed_in(bench.ruan), where, **WORN | {"cause": "not_known", "same_root_as": ""})
    assert (answer.status_code, beside(answer, "f-same_root_as")) == (
        400, "It was said before: it can be changed, not emptied.",
    )  # fmt: skip


# Taken back


def test_a_report_takes_the_hold_along_that_it_opened(bench):
    report = report_of(reported(bench, could_harm=True))
    browser, where = signed_in(bench.odile), address(bench, "fault-reports", report)
    form = text_of(browser.get(where))
    assert "Take back the fault report of 1 June 2026: It sank by itself." in form
    assert "It takes the hold along that it opened. Then no hold is in force, and the device may be used." in form
    said = told(browser, send(browser, where))
    assert "Taken back: the fault report of 1 June 2026, “It sank by itself”." in said
    assert "Why: It was another table." in said
    assert "Taken back with it: the hold of 1 June 2026 because a fault was reported that could harm somebody." in said
    assert not FaultDetails.objects.current().exists()
    assert in_force(bench, JUNE_10) == []


def test_a_report_that_opened_no_hold_takes_none_along(bench):
    report = report_of(reported(bench))
    found(bench)
    browser, where = signed_in(bench.odile), address(bench, "fault-reports", report)
    assert "It opened no hold that is in force. One hold stays in force" in text_of(browser.get(where))
    assert send(browser, where).status_code == 302
    assert len(in_force(bench, JUNE_10)) == 1


def test_a_finding_takes_its_hold_along_and_no_other(bench):
    finding = finding_of(found(bench))
    found(bench, a_line(discovery="reported_in_use", mode="It tips."))
    browser, where = signed_in(bench.odile), address(bench, "findings", finding)
    form = text_of(browser.get(where))
    assert "It takes the hold along that it opened. One hold stays in force: nobody may use it." in form
    assert send(browser, where).status_code == 302
    assert len(in_force(bench, JUNE_10)) == 1
    page = text_of(browser.get(f"/equipment/{bench.device}/"))
    assert "It sinks under load." not in page  # but for the words of what was taken back
    assert "Taken back: the finding of 1 June 2026, “It sinks under load”. Why: It was another table." in page


def test_a_finding_that_another_rests_on_is_not_taken_back(bench):
    root = finding_of(found(bench, minor(discovery="reported_in_use")))
    found(bench, minor(discovery="reported_in_use", same_root_as=root))
    size, browser = head().size, signed_in(bench.odile)
    answer = send(browser, address(bench, "findings", root))
    assert answer.status_code == 400
    assert "Something else in the record rests on it: take that back first." in text_of(answer)
    assert "It was another table." in answer.content.decode()
    assert head().size == size


def test_a_hold_is_taken_back_and_the_others_stay(bench):
    hold = hold_of(place_hold(device=bench.device, reason="other", from_on=JUNE_10, actor=bench.ruan, at=AT))
    browser, where = signed_in(bench.odile), address(bench, "holds", hold)
    form = text_of(browser.get(where))
    assert "Take back the hold since 10 June 2026: for another reason." in form
    assert "Then no hold is in force, and the device may be used." in form
    assert send(browser, where).status_code == 302
    assert in_force(bench, JUNE_10) == []


def test_a_release_that_is_taken_back_puts_its_holds_in_force_again(bench):
    hold = hold_of(found(bench))
    release = release_of(released(bench, hold))
    browser, where = signed_in(bench.odile), address(bench, "releases", release)
    form = text_of(browser.get(where))
    assert "signed on 10 June 2026." in form
    assert "The hold that it lifted is in force again, and nobody may use the device." in form
    said = told(browser, send(browser, where))
    assert "Nobody may use it until one hold is lifted by a signed release" in said
    assert [each.hold for each in in_force(bench, JUNE_10)] == [hold]
    assert not ReleaseStatement.objects.current().exists()


@pytest.mark.parametrize("thing", ["fault-reports", "findings", "holds", "releases"])
def test_a_reason_is_asked_for_and_a_patient_in_it_is_warned_about_once(bench, thing):
    key = everything(bench)[thing]
    browser, size = signed_in(bench.odile), head().size
    where = address(bench, thing, key)
    answer = send(browser, where, reason=" ")
    assert (answer.status_code, beside(answer, "f-reason")) == (400, "Say why the record was wrong.")
    answer = send(browser, where, reason="It was Mrs Thornby's.")
    assert "seems to hold a patient's name" in text_of(answer)
    assert head().size == size
    assert send(browser, where, reason="It was Mrs Thornby's.", looked="yes").status_code == 302


@pytest.mark.parametrize("thing", ["fault-reports", "findings", "holds", "releases"])
def test_sent_twice_it_is_one_request_and_what_is_gone_is_not_there(bench, thing):
    key = everything(bench)[thing]
    browser, where, same = signed_in(bench.odile), address(bench, thing, key), uuid.uuid4().hex
    first, again = (send(browser, where, key=same) for _ in range(2))
    assert first.url == again.url
    size = head().size
    assert send(browser, where).status_code == 404
    assert send(browser, where, key=same, reason="Other words.").status_code == 404
    assert browser.get(where).status_code == 404
    assert head().size == size


def test_another_sites_device_and_another_devices_things_are_not_there(bench):
    keys = everything(bench)
    stranger = signed_in(a_person("Per Aldous", Role.MANAGER, bench.stennet))
    manager = signed_in(bench.odile)
    for thing, key in keys.items():
        assert stranger.get(address(bench, thing, key)).status_code == 404
        assert manager.get(address(bench, thing, 10**9)).status_code == 404
        assert manager.get(f"/equipment/{bench.device + 10**9}/{thing}/{key}/take-back/").status_code == 404


def test_pages_take_a_fixed_number_of_statements(bench):
    keys = everything(bench)
    browser = signed_in(bench.odile)

    def statements() -> list[int]:
        counts = []
        for where in (f"/equipment/{bench.device}/", *(address(bench, *pair) for pair in keys.items())):
            with CaptureQueriesContext(connection) as captured:
                assert browser.get(where).status_code == 200
            counts.append(len(captured))
        return counts

    before = statements()
    for _ in range(3):
        everything(bench)
    assert statements() == before


def test_a_finding_that_was_repaired_is_not_taken_back(bench):
    finding = finding_of(found(bench))
    repaired(bench, finding)
    browser, size = signed_in(bench.odile), head().size
    answer = send(browser, address(bench, "findings", finding))
    assert answer.status_code == 400
    assert "A repair of it is recorded, so something was there" in text_of(answer)
    assert "It was another table." in answer.content.decode()
    assert head().size == size


TOLD = {
    "fault-reports": "the fault report of 1 June 2026, “It sank by itself”.",
    "findings": "the finding of 1 June 2026, “It creaks”.",
    "holds": "the hold of 10 June 2026 because of another reason.",
    "releases": "the release of 10 June 2026.",
}


@pytest.mark.parametrize("thing", TOLD)
def test_what_was_taken_back_stands_under_what_happened_with_who_when_and_why(bench, thing):
    key = everything(bench)[thing]
    browser = signed_in(bench.odile)
    said = told(browser, send(browser, address(bench, thing, key)))
    assert f"Taken back: {TOLD[thing]}" in said
    assert "Why: It was another table." in said
    page = text_of(browser.get(f"/equipment/{bench.device}/"))
    wanted = f"10 June 2026 Taken back: {TOLD[thing]} Why: It was another table. Recorded by Odile"
    assert wanted in page
    assert page.count("Taken back:") == (2 if thing == "fault-reports" else 1)  # with the hold that it opened


def test_a_view_that_was_replaced_the_same_day_is_not_taken_back(bench):
    finding = finding_of(found(bench, minor(discovery="reported_in_use"), discovered_on=JUNE_10))
    browser = signed_in(bench.ruan)
    assert send(browser, address(bench, "findings", finding, "reclassify"), **WORN).status_code == 302
    assert "Taken back:" not in text_of(browser.get(f"/equipment/{bench.device}/"))


def test_what_there_is_no_choice_of_any_more_is_no_obstacle(bench):
    blamed = minor(
        discovery="reported_in_use", cause="use_error", training_on=JUNE_1, second_person=bench.odile.person
    )  # fmt: skip
    finding = finding_of(found(bench, blamed))
    for gone in (bench.odile, bench.wim):
        role = Row(RoleHeld, person=gone.person, from_on=JUNE_10, role=None)
        written("role_given", gone.person or 0, role)
    browser, where = signed_in(bench.ruan), address(bench, "findings", finding, "reclassify")
    assert 'id="f-second_person"' not in browser.get(where).content.decode()
    blames_no_more = WORN | {"training_on": "2026-06-01"}
    assert send(browser, where, **blames_no_more).status_code == 302
    assert FindingDetails.objects.latest("pk").second_person_id == bench.odile.person
