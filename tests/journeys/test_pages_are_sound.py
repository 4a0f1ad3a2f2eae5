"""Every page, at desktop and tablet width, keeps its policy and is accessible. Each role signs in once: a hundred
times would be most of the work."""

from functools import cache

import pytest

from tests.journeys.signing_in import signing_in
from tests.journeys.sound import check_sound

PAGES = [
    ("manager", "/compliance/"),
    ("manager", "/compliance/?from=2026-04-01&to=2026-06-30&group_by=area"),
    ("manager", "/compliance/report/?period=2026-09"),
    ("manager", "/compliance/changes/?period=2026-09&since=24400"),
    ("manager", "/compliance/?period=2026-13&colour=blue"),
    ("manager", "/reliability/"),
    ("manager", "/reliability/?group_by=area&kind=functional,potential&group=1"),
    ("manager", "/reliability/?group_by=site&as_of=2099-01-01&colour=blue"),
    ("manager", "/no/such/page/"),
    ("scheduler", "/schedule/"),
    ("scheduler", "/schedule/?week=soon"),
    ("technician", "/bench/"),
    ("clinical", "/equipment/"),
    ("clinical", "/equipment/?words=lift&site=x"),
    ("technician", "/equipment/?held=yes"),
    ("technician", "/equipment/reported/"),
    ("technician", "/equipment/reported/?after=x"),
    ("provider", "/bench/"),
    ("auditor", "/compliance/"),
    ("auditor", "/history/"),
    ("manager", "/alerts/"),
    ("technician", "/alerts/?after=x"),
    ("manager", "/alerts/rules/"),
    ("manager", "/alerts/rules/new/"),
    ("administrator", "/alerts/letters/"),
    ("administrator", "/administration/"),
    ("administrator", "/administration/people/"),
    ("administrator", "/administration/people/?words=tech"),
    ("administrator", "/administration/people/new/"),
    ("administrator", "/administration/people/1/"),
    ("administrator", "/administration/people/1/role/"),
    ("administrator", "/administration/people/1/address/"),
    ("administrator", "/administration/people/1/sites/"),
    ("administrator", "/administration/people/1/password/shown/"),
    ("administrator", "/administration/tokens/"),
    ("administrator", "/administration/tokens/new/"),
    ("administrator", "/administration/tokens/1/back/"),
]


@pytest.fixture(scope="module")
def seen_by(quillmere, browser):
    """The page of a role, at a width, with nothing to complain of yet."""
    with signing_in(quillmere, browser) as sign_in:
        signed_in = cache(sign_in)

        def page_of(role, width=1280):
            page = signed_in(role)
            page.set_viewport_size({"width": width, "height": 900})
            page.complaints = []
            return page

        yield page_of


@pytest.mark.parametrize("width", [1280, 900])
@pytest.mark.parametrize(("role", "address"), PAGES)
def test_a_page_keeps_its_policy_and_is_accessible(seen_by, role, address, width):
    page = seen_by(role, width)
    answer = page.goto(address, wait_until="networkidle")
    page.complaints = [each for each in page.complaints if f"status of {answer.status}" not in each]
    check_sound(page)


def test_so_are_a_sheet_and_a_device(seen_by):
    page = seen_by("technician")
    page.goto("/bench/")
    page.get_by_role("main").get_by_role("link").first.click()
    page.wait_for_load_state("networkidle")
    check_sound(page)
    page = seen_by("clinical")
    page.goto("/equipment/?words=Q000010")
    page.get_by_role("link", name="Q000010").click()
    page.wait_for_load_state("networkidle")
    check_sound(page)


def test_so_is_the_form_of_a_rule_and_what_it_refuses(seen_by):
    page = seen_by("manager")
    page.goto("/alerts/rules/")
    page.get_by_role("link", name="Change").first.click()
    page.get_by_label("Days of line 1").fill("soon")
    page.get_by_role("button", name="Change the rule").click()
    page.get_by_text("Say a whole number of days.").wait_for()
    page.complaints = [each for each in page.complaints if "status of 400" not in each]
    check_sound(page)


FORMS = [
    ("clinical", "fault/"),
    ("technician", "finding/"),
    ("scheduler", "hold/"),
    ("technician", "release/"),
]


@pytest.mark.parametrize("width", [1280, 390])
def test_so_are_the_forms_of_a_device(seen_by, width):
    for role, what in FORMS:
        page = seen_by(role, width)
        page.goto("/equipment/?words=Q000010")
        page.goto(f"{page.get_by_role('link', name='Q000010').get_attribute('href')}{what}")
        page.wait_for_load_state("networkidle")
        check_sound(page)
    page = seen_by("technician", width)
    page.goto("/equipment/?words=Q000010")
    page.get_by_role("link", name="Q000010").click()
    page.get_by_role("link", name="Inspect", exact=True).click()
    page.wait_for_load_state("networkidle")
    check_sound(page)


def test_so_is_the_sign_in(page_as, quillmere):
    page = page_as("manager")
    page.get_by_role("button", name="Sign out").click()
    page.get_by_role("heading", name="Sign in").wait_for()
    check_sound(page)


def test_so_is_the_week_of_a_person(seen_by):
    page = seen_by("scheduler")
    page.goto("/schedule/", wait_until="networkidle")
    page.get_by_role("main").locator("a[href^='/schedule/people/']").first.click()
    page.wait_for_load_state("networkidle")
    assert "/schedule/people/" in page.url
    check_sound(page)
