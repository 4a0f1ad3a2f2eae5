"""What every page must be: no complaint of its policy or its scripts, and no finding of axe at WCAG 2.2 AA."""

from pathlib import Path

from playwright.sync_api import Page

_AXE = (Path(__file__).parent / "vendor" / "axe.min.js").read_text()
_TAGS = ["wcag2a", "wcag2aa", "wcag21a", "wcag21aa", "wcag22aa", "best-practice"]


def check_sound(page: Page) -> None:
    page.evaluate(_AXE)
    found = page.evaluate("tags => axe.run(document, {runOnly: tags})", _TAGS)
    assert found["passes"], "axe looked at nothing"
    told = [f"{rule['id']}: {node['html'][:120]}" for rule in found["violations"] for node in rule["nodes"]]
    assert told == []
    assert page.complaints == []  # type: ignore[attr-defined]
