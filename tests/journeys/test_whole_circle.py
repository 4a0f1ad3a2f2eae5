"""The whole circle: a check fails and its finding moves a failure rate; another window closes undone, by mail whoever
must know is told, once; it is acknowledged and done late; and an auditor takes the period away, verified offline."""

import datetime as dt
import io
import json
import re
import zipfile
from collections.abc import Iterator
from pathlib import Path
from typing import Any

import pytest
from playwright.sync_api import Browser, Page

from tests.demonstrations import wait_until
from tests.journeys.circle import Circle, a_circle, arrived_twice, told_of, verdict
from tests.journeys.hands import choose, heading
from tests.journeys.quillmere import Built
from tests.journeys.sound import check_sound

INSPECTED, LEFT = "Q000017", "Q000019"
"""Two surgical tables at Alderwick General, whose function is to be checked until 31 October."""

SITE, NOTE = "Alderwick General", "Theatre 1 lends it to us on Monday after the list."
NINE_DAYS_LATER = dt.datetime(2026, 11, 9, 7, 30, tzinfo=dt.UTC)
MUST_BE_TOLD = ["ag-1", "ag-2", "ag-3", "scheduler"]
"""After a day the technicians of the site, after seven the scheduler, and after thirty the managers."""

OVERDUE = "Surgical tables, every quarter: 9 days overdue; the window closed on 31 October 2026. It is given to nobody."
HELD_YEARS = 1 / 365.25
"""The day of the failed check: held from then on, the device is exposed no longer."""

LOOKS = ("sweep_alerts", "follow_alerts", "sweep_mails")


@pytest.fixture
def circle(quillmere_built: Built, browser: Browser, tmp_path: Path) -> Iterator[Circle]:
    with a_circle(quillmere_built, tmp_path / "data", browser) as circle:
        yield circle


def test_from_a_failed_check_to_a_verified_export(circle: Circle, tmp_path: Path) -> None:
    with circle.served():
        before = rates(circle)
        a_check_fails_and_is_found_out(circle.page_as("technician", width=900, height=1200))
        one_rate_moved_by_one_failure(before, rates(circle))
        circle.sweep(*LOOKS)
        circle.wait_until_all_letters_are_sent(least=1)
    of_the_first_day = len(circle.sink.letters)
    with circle.served(NINE_DAYS_LATER):
        circle.sweep("sweep_due", *LOOKS)
        everybody_is_told_once(circle, of_the_first_day)
        it_is_known_and_done_late(circle)
        circle.sweep(*LOOKS)
        pack = the_auditor_takes_the_period_away(circle)
        circle.wait_until_all_letters_are_sent(least=of_the_first_day)
    assert arrived_twice(circle.sink.letters) == []
    zipfile.ZipFile(io.BytesIO(pack)).extractall(tmp_path / "alone")
    it_verifies_alone_and_one_byte_is_missed(tmp_path / "alone")


def rates(circle: Circle) -> Any:
    return circle.ask("failure-rates/?group_by=subsystem&as_of=2026-10-31")


def open_sheet(page: Page, tag: str) -> None:
    page.goto(f"/bench/?words={tag}")
    page.get_by_role("link", name=tag).filter(has_text="function").first.click()
    page.get_by_role("button", name="Record", exact=True).wait_for()


def answer(page: Page, brakes: str) -> None:
    choose(page, "Was it decontaminated before work began?", "Yes")
    choose(page, "Are casing, covers and labels whole?", "Sound")
    choose(page, "Do all brakes hold, and let go?", brakes)
    choose(page, "Does every movement run its whole way", "Sound")
    choose(page, "Does it run on its battery", "Sound")


def record(page: Page) -> str:
    page.get_by_role("button", name="Record", exact=True).click()
    page.wait_for_url("**/recorded/**")
    return page.get_by_role("main").inner_text()


def a_check_fails_and_is_found_out(bench: Page) -> None:
    open_sheet(bench, INSPECTED)
    answer(bench, "Fault found")
    bench.get_by_role("button", name="Add a finding").click()
    bench.get_by_label("What is wrong").fill("The rear brake lets go under load")
    bench.get_by_label("Which step showed it?").select_option(label="Do all brakes hold, and let go?")
    bench.get_by_label("Where it sits").select_option("brakes_and_mobility")
    choose(bench, "Did it fail?", "It could not do its work")
    choose(bench, "How grave is it?", "Stops its use")
    check_sound(bench)
    told = record(bench)
    assert "It sits in brakes and mobility: stops use, cause not known." in told
    assert "A hold was placed because an inspection failed." in told
    check_sound(bench)
    bench.goto(f"/equipment/?words={INSPECTED}")
    bench.get_by_role("link", name=INSPECTED).click()
    assert heading(bench).startswith("It may not be used:")


def one_rate_moved_by_one_failure(before: Any, after: Any) -> None:
    events = {group["key"]: group["events"] for group in before["groups"]}
    moved = {group["key"]: group["events"] - events.get(group["key"], 0) for group in after["groups"]}
    assert {key: count for key, count in moved.items() if count} == {"brakes_and_mobility": 1}
    was, now = ({group["key"]: group for group in told["groups"]} for told in (before, after))
    assert was.keys() == now.keys()
    for key, group in now.items():
        years = was[key]["exposure_years"] - HELD_YEARS
        assert group["exposure_years"] == pytest.approx(years, abs=1e-7)
        assert group["rate"] == pytest.approx((was[key]["rate"] * was[key]["exposure_years"] + moved[key]) / years)


def everybody_is_told_once(circle: Circle, of_the_first_day: int) -> None:
    expected = [(f"{key}@quillmere.example", OVERDUE) for key in MUST_BE_TOLD]

    def told() -> list[tuple[str, str]]:
        return told_of(LEFT, circle.sink.letters[of_the_first_day:])

    wait_until(lambda: len(told()) >= len(expected))
    circle.sweep(*LOOKS)  # what is found twice is told once
    circle.wait_until_all_letters_are_sent(least=of_the_first_day + len(expected))
    assert told() == expected


def it_is_known_and_done_late(circle: Circle) -> None:
    manager, technician = circle.page_as("manager"), circle.page_as("technician")
    late, overdue = compliance(manager)
    check_sound(manager)
    technician.goto("/alerts/")
    alert = technician.get_by_role("listitem").filter(has=technician.get_by_role("heading", name=LEFT))
    alert.get_by_text("I know of this").click()
    alert.get_by_label("What happens about it").fill(NOTE)
    check_sound(technician)
    alert.get_by_role("button", name="Record that I know").click()
    technician.get_by_text("It is recorded that you know of this.").wait_for()
    assert f"Tamsel Orrowby knows since 9 November 2026: “{NOTE}”" in alert.inner_text()
    open_sheet(technician, LEFT)
    answer(technician, "Sound")
    record(technician)
    assert compliance(manager) == (late + 1, overdue - 1)
    technician.goto("/alerts/")
    assert alert.count() == 0


def compliance(page: Page) -> tuple[int, int]:
    """How many of October's were done late at the site, and how many devices are overdue today."""
    page.goto("/compliance/?period=2026-10")
    row = page.get_by_role("row").filter(has=page.get_by_role("rowheader", name=SITE)).first
    census = re.search(r"(\d+) of 650 devices under a plan are overdue on 9 November", page.inner_text("main"))
    assert census is not None
    return int(row.get_by_role("cell").nth(2).inner_text()), int(census[1])


def the_auditor_takes_the_period_away(circle: Circle) -> bytes:
    days = ("--from", "2026-10-31", "--to", "2026-11-09")
    token = circle.manage("create_token", "auditor", "--read-only", "--site", "AG", *days)
    sites = circle.ask("sites/", token=token)["results"]
    scope = {"from": days[1], "to": days[3], "sites": [site["site"] for site in sites]}
    export = circle.ask("history-exports/", token=token, body=scope)
    address = f"history-exports/{export['id']}/"
    ended = wait_until(lambda: circle.ask(address, token=token)["state"] in ("done", "failed"))
    export = circle.ask(address, token=token)
    assert (ended, export["state"]) == (True, "done"), export
    return circle.fetch(export["files"]["pack"], token=token)


def it_verifies_alone_and_one_byte_is_missed(folder: Path) -> None:
    status, said = verdict(folder)
    assert (status, said.partition(":")[0]) == (0, "VERIFIED"), said
    history = folder / "history.ndjson"
    exported = history.read_bytes()
    entries = [json.loads(line) for line in exported.splitlines()]
    assert {"inspection_recorded", "alert_acknowledged"} <= {entry["kind"] for entry in entries}
    found = next(number for number, entry in enumerate(entries) if any("finding" in row for row in entry["rows"]))
    changed = exported.splitlines(keepends=True)
    at = changed[found].index(b'"kind":"') + len(b'"kind":"')
    changed[found] = changed[found][:at] + bytes([changed[found][at] ^ 1]) + changed[found][at + 1 :]
    history.write_bytes(b"".join(changed))
    where = f"history.ndjson, line {found + 1}, is not the entry {entries[found]['seq']} of the history."
    assert verdict(folder) == (1, f"NOT VERIFIED: {where}")
    history.write_bytes(exported)
    assert verdict(folder) == (0, said)
