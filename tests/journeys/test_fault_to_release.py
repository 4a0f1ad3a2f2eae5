"""A clinical lead reports a fault; a technician finds what is wrong, which holds the device, and signs its release."""

from tests.journeys.hands import choose, heading
from tests.journeys.sound import check_sound

TAG = "Q000010"


def test_from_the_report_to_the_release(page_as):
    lead = page_as("clinical")
    lead.goto(f"/equipment/?words={TAG}")
    lead.get_by_role("link", name=TAG).click()
    lead.get_by_role("link", name="Report a fault").click()
    check_sound(lead)
    lead.get_by_label("What did you see").fill("It sank by itself under load")
    choose(lead, "Could it harm somebody?", "Yes")
    lead.get_by_role("button", name="Report").click()
    lead.get_by_role("link", name="To the device").wait_for()
    assert heading(lead) == f"Reported: It sank by itself under load. Surgical table {TAG} is held at once."
    check_sound(lead)
    lead.get_by_role("link", name="To the device").click()
    lead.get_by_text("A fault is reported", exact=True).wait_for()
    assert heading(lead) == "It may not be used: one hold in force."
    device = lead.url

    bench = page_as("technician", width=800)
    bench.goto(f"{device}finding/")
    check_sound(bench)
    bench.get_by_label("What is wrong").fill("The drive is worn")
    bench.get_by_label("Where it sits").select_option("drive")
    choose(bench, "Did it fail?", "It could not do its work")
    choose(bench, "How grave is it?", "Stops its use")
    bench.get_by_role("button", name="Record").click()
    bench.get_by_role("link", name="Sign release").wait_for()
    assert "It is grave, so the same act holds the device." in bench.get_by_role("main").inner_text()

    bench.get_by_role("link", name="Sign release").click()
    bench.get_by_role("group", name="Which holds are lifted?").wait_for()
    for hold in bench.get_by_role("checkbox").all():
        hold.check()
    check_sound(bench)
    bench.get_by_label("What was done").fill("Drive changed, load held.")
    bench.get_by_role("button", name="Sign release").click()
    bench.get_by_role("link", name="To the device").wait_for()
    assert heading(bench) == f"Signed: Surgical table {TAG} may be used again."
    check_sound(bench)

    lead.reload()
    assert "no hold is in force" in heading(lead)
    assert "Released for use." in lead.get_by_role("main").inner_text()
    check_sound(lead)
