"""The administrator lets a technician in and out again, and gives an auditor a token and takes it back."""

import urllib.error
import urllib.request

from playwright.sync_api import Page

from tests.journeys.sound import check_sound


def heading(page: Page) -> str:
    return page.get_by_role("heading", level=1).inner_text()


def press(page: Page, name: str) -> None:
    page.get_by_role("button", name=name).click()
    page.wait_for_load_state()


def follow(page: Page, name: str) -> None:
    page.get_by_role("main").get_by_role("link", name=name).first.click()
    page.wait_for_load_state()


def sign_in(page: Page, username: str, password: str) -> None:
    page.goto("/bench/")
    page.get_by_label("User name").fill(username)
    page.get_by_label("Password").fill(password)
    press(page, "Sign in")


def test_a_technician_is_let_in_and_out_again(page_as):
    office = page_as("administrator")
    office.goto("/administration/people/")
    assert heading(office) == "Seven people can sign in."
    follow(office, "Make an account")
    office.get_by_label("Name", exact=True).fill("Ines Caddock-Vell")
    office.get_by_label("User name").fill("ines")
    press(office, "Make the account")
    assert "Say in which role they act." in office.get_by_role("main").inner_text()
    check_sound(office_without_refusals(office))
    assert office.get_by_label("User name").input_value() == "ines"
    office.get_by_label("Role").select_option("technician")
    office.get_by_label("Alderwick General").check()
    press(office, "Make the account")
    assert heading(office) == "Ines Caddock-Vell can sign in as ines with this password:"
    check_sound(office)
    password = office.locator("#secret").inner_text()
    office.reload()
    assert password not in office.content()

    context = office.context.browser.new_context(base_url=office.url.partition("/administration")[0])
    bench = context.new_page()
    sign_in(bench, "ines", password)
    assert bench.url.endswith("/bench/")
    bench.get_by_role("button", name="Sign out").wait_for()

    follow(office, "To Ines Caddock-Vell")
    assert heading(office) == "Ines Caddock-Vell is a technician at Alderwick General."
    check_sound(office)
    follow(office, "Switch off")
    check_sound(office)
    press(office, "Switch off")
    assert heading(office) == "The account of Ines Caddock-Vell is switched off: nobody signs in by it."
    bench.reload()
    assert heading(bench) == "Sign in"
    sign_in(bench, "ines", password)
    assert heading(bench) == "This account is switched off."
    context.close()


def test_an_auditors_token_reads_until_it_is_taken_back(page_as):
    office = page_as("administrator", width=900)
    office.goto("/administration/tokens/")
    follow(office, "Make a token")
    office.get_by_label("For whom").select_option("auditor")
    office.get_by_label("Label").fill("visit of the auditor")
    office.get_by_label("Fallow Lane").check()
    press(office, "Make the token")
    assert heading(office) == "This is the token “visit of the auditor” of Quenby Astrelow:"
    check_sound(office)
    raw = office.locator("#secret").inner_text()
    holds = f"{office.url.partition('/administration')[0]}/api/v1/holds/"
    assert status_of(holds, raw) == 200
    assert status_of(holds, raw, method="POST") == 403

    office.goto("/administration/tokens/")
    assert raw not in office.content()
    follow(office, "Take back visit of the auditor")
    check_sound(office)
    press(office, "Take it back")
    assert "The token “visit of the auditor” opens nothing any more." in office.get_by_role("main").inner_text()
    check_sound(office)
    assert status_of(holds, raw) == 401


def office_without_refusals(page: Page) -> Page:
    """That a form was refused is told by its status, which the browser's console repeats."""
    page.complaints = [each for each in page.complaints if "status of 400" not in each]  # type: ignore[attr-defined]
    return page


def status_of(address: str, token: str, method: str = "GET") -> int:
    headers = {"Authorization": f"Token {token}"}
    try:
        return urllib.request.urlopen(urllib.request.Request(address, headers=headers, method=method)).status
    except urllib.error.HTTPError as refused:
        return refused.code
