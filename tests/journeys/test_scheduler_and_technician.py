"""The scheduler gives out the week; the technician finds it, records one failed reading and sees what follows."""

from playwright.sync_api import Locator, Page

from tests.journeys.sound import check_sound

TAG, TECHNICIAN = "Q000332", "Tamsel Orrowby"


def give(page: Page, tag: str, person: str) -> None:
    page.get_by_label(tag).check()
    who = page.get_by_label("Person").locator("option", has_text=person)
    page.get_by_label("Person").select_option(value=who.get_attribute("value"))
    page.get_by_role("button", name="Give").click()


def answer(page: Page | Locator, question: str, word: str) -> None:
    page.get_by_role("group", name=question).first.get_by_text(word, exact=True).click()


def test_an_inspection_is_given_out_recorded_and_followed_by_the_next(page_as):
    schedule = page_as("scheduler")
    assert "given to anybody yet" in schedule.get_by_role("heading", level=1).inner_text()
    give(schedule, TAG, TECHNICIAN)
    said = schedule.locator("p.said").inner_text()
    assert said.startswith(f"One inspection is given to {TECHNICIAN} for Monday 2 November 2026")

    bench = page_as("technician", width=900, height=1200)
    assert "Given to you for later" in bench.get_by_role("main").inner_text()
    bench.get_by_role("link", name=TAG).first.click()
    answer(bench, "Was it decontaminated before work began?", "Yes")
    bench.get_by_label("As found").fill("70.0")
    bench.get_by_label("Instrument").select_option(index=1)
    answer(bench, "Volume given in an hour", "Pass")
    answer(bench, "Are casing, covers and labels whole?", "Sound")
    answer(bench, "Do the alarms sound", "Sound")
    bench.get_by_role("button", name="Record").click()

    # A reading above its limit did not pass: it is said beside the answer, and nothing that was typed is lost.
    assert "70.0 ml is above the limit 63.0 ml: record it as failed." in bench.get_by_role("main").inner_text()
    assert bench.get_by_label("As found").input_value() == "70.0"
    answer(bench, "Volume given in an hour", "Fail")

    # What is wrong with it is found at once: the fields of a finding come, the focus is in them, nothing is lost.
    bench.get_by_role("button", name="Add a finding").click()
    finding = bench.get_by_role("group", name="Finding 1")
    finding.wait_for()
    bench.keyboard.type("The drive slips")
    assert finding.get_by_label("What is wrong").input_value() == "The drive slips"
    assert bench.get_by_label("As found").input_value() == "70.0"
    bench.complaints = [each for each in bench.complaints if "status of 400" not in each]
    check_sound(bench)
    finding.get_by_label("Which step showed it?").select_option(index=1)
    finding.get_by_label("Where it sits").select_option("drive")
    answer(finding, "Did it fail?", "It could not do its work")
    answer(finding, "How grave is it?", "Stops its use")
    bench.get_by_role("button", name="Add another finding").click()
    bench.get_by_role("button", name="Remove finding 2").click()
    bench.get_by_role("button", name="Add another finding").wait_for()
    assert bench.get_by_role("group", name="Finding 2").count() == 0
    bench.get_by_role("button", name="Record", exact=True).click()

    told = bench.get_by_role("main").inner_text()
    assert f"Infusion pump {TAG} was inspected on 31 October 2026" in told
    assert "A hold was placed because an inspection failed." in told
    assert "The next one is due on 9 December 2026" in told
    assert "The drive slips. It sits in drive: stops use, cause not known." in told

    device = page_as("clinical")
    device.goto(f"/equipment/?words={TAG}")
    device.get_by_role("link", name=TAG).click()
    assert device.get_by_role("heading", level=1).inner_text() == "It may not be used: one hold in force."
