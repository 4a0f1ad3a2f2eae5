"""The auditor asks the page and the interface the same question."""

import json
import re
import subprocess


def test_the_figure_by_curl_is_that_of_the_page(page_as, quillmere):
    page = page_as("auditor")
    page.goto("/compliance/?period=2026-06")
    told = re.match(r"Of (\d+) inspections due, (\d+) were", page.get_by_role("heading", level=1).inner_text())
    assert told is not None
    command = re.search(r"curl .*", quillmere.printed)
    assert command is not None
    asked = command[0].replace("2026-09", "2026-06")
    answer = json.loads(subprocess.run(asked, shell=True, capture_output=True, text=True, check=True).stdout)
    assert (answer["due"], answer["met"]) == (int(told[1]), int(told[2]))
    assert answer["due"] == sum(answer[name] for name in ("met", "met_late", "reason_recorded", "no_reason"))


def test_the_auditor_is_offered_nothing_that_changes_anything(page_as):
    page = page_as("auditor")
    page.goto("/schedule/")
    assert page.get_by_role("button", name="Give").count() == 0
