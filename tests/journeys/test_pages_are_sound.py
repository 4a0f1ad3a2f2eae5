"""Every page, at desktop and tablet width, keeps its policy and is accessible."""

import pytest

from tests.journeys.sound import check_sound

PAGES = [
    ("manager", "/compliance/"),
    ("manager", "/compliance/?from=2026-04-01&to=2026-06-30&group_by=area"),
    ("manager", "/compliance/report/?period=2026-09"),
    ("manager", "/compliance/changes/?period=2026-09&since=24000"),
]


@pytest.mark.parametrize("width", [1280, 900])
@pytest.mark.parametrize(("role", "address"), PAGES)
def test_a_page_keeps_its_policy_and_is_accessible(page_as, role, address, width):
    page = page_as(role, width=width)
    page.goto(address, wait_until="networkidle")
    check_sound(page)


def test_so_is_the_sign_in(page_as, quillmere):
    page = page_as("manager")
    page.get_by_role("button", name="Sign out").click()
    page.get_by_role("heading", name="Sign in").wait_for()
    check_sound(page)
