"""The manager finds out why a quarter fell, and prints the report for the committee."""

import re


def test_the_manager_sees_why_the_second_quarter_fell(page_as):
    page = page_as("manager")
    assert page.get_by_role("heading", level=1).inner_text().startswith("Of 279 inspections due")
    page.goto("/compliance/?from=2026-04-01&to=2026-06-30")
    assert page.get_by_role("heading", level=1).inner_text() == (
        "Of 782 inspections due, 731 were done inside their window: 93.5 %. 51 are not done, 40 of them high-risk."
    )
    said = page.locator("p.second").inner_text()
    where = "Fallow Lane had 24 of the 51 that were not done in time: 78.2 % was done in time there, 96.0 % elsewhere."
    assert where in said
    assert "the area gave no access" in said


def test_the_table_leads_to_one_site(page_as):
    page = page_as("manager")
    page.goto("/compliance/?from=2026-04-01&to=2026-06-30")
    page.get_by_role("link", name="Fallow Lane").click()
    assert page.get_by_role("heading", level=1).inner_text().startswith("Of 110 inspections due, 86 were done")
    assert page.get_by_label("Site", exact=True).locator("option:checked").inner_text() == "Fallow Lane"


def test_the_report_is_one_sheet_of_paper(page_as):
    page = page_as("manager")
    page.goto("/compliance/?from=2026-04-01&to=2026-06-30")
    page.get_by_role("link", name="One-page report").click()
    page.wait_for_load_state("networkidle")
    paper = page.pdf(prefer_css_page_size=True)
    assert len(re.findall(rb"/Type\s*/Page\b", paper)) == 1


def test_a_choice_shows_at_once_and_stands_in_the_address(page_as):
    page = page_as("manager")
    page.get_by_label("Month", exact=True).select_option("2026-06")
    page.wait_for_url("**period=2026-06**")
    assert "Windows that closed in June 2026" in page.locator("p.quiet").inner_text()


def test_what_was_written_since_the_last_report_is_named(page_as):
    page = page_as("manager")
    page.get_by_role("button", name="Say what changed").click()
    assert "count otherwise than when the record had" in page.get_by_role("heading", level=1).inner_text()
    assert "inspection recorded" in page.locator("table").inner_text()
