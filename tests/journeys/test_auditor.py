"""The auditor asks the page and the interface the same question."""

import json
import re
import subprocess
import sys
import zipfile


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


def test_an_export_of_a_period_verifies_offline_and_a_changed_byte_is_refused(page_as, tmp_path):
    page = page_as("auditor")
    page.goto("/history/")
    page.get_by_label("Entries from").fill("2026-09-01")
    page.get_by_label("up to").fill("2026-09-30")
    page.get_by_role("button", name="Export").click()
    made = page.get_by_role("article").filter(has_text="from 1 September 2026 to 30 September 2026")
    with page.expect_download() as coming:
        made.get_by_role("link", name="The pack to verify").click(timeout=60_000)
    coming.value.save_as(tmp_path / "pack.zip")
    zipfile.ZipFile(tmp_path / "pack.zip").extractall(tmp_path / "export")

    def verdict():
        command = [sys.executable, "-I", "-S", "verify_export.py"]
        ran = subprocess.run(command, cwd=tmp_path / "export", capture_output=True, text=True)
        return ran.returncode, ran.stdout.splitlines()

    status, said = verdict()
    assert (status, said[-1].partition(":")[0]) == (0, "VERIFIED")
    page.goto("/history/")
    assert said[1].removeprefix("Fingerprint of the key: ") in page.get_by_role("main").inner_text()
    bodies = tmp_path / "export" / "history.ndjson"
    data = bytearray(bodies.read_bytes())
    data[len(data) // 2] ^= 1
    bodies.write_bytes(data)
    status, said = verdict()
    assert (status, said[-1].partition(":")[0]) == (1, "NOT VERIFIED")
