"""A real browser before a real server. Without Debian's chromium the journeys are skipped, and say so."""

import shutil
from collections.abc import Callable, Iterator

import pytest
from playwright.sync_api import Browser, Page, sync_playwright

from tests.demonstrations import Served
from tests.journeys.quillmere import served

CHROMIUM = shutil.which("chromium") or shutil.which("chromium-browser")


@pytest.fixture(scope="session")
def quillmere(tmp_path_factory: pytest.TempPathFactory) -> Iterator[Served]:
    if CHROMIUM is None:
        pytest.skip("no chromium on this machine: `apt install chromium` brings it")
    with served(tmp_path_factory.mktemp("quillmere")) as site:
        yield site


@pytest.fixture(scope="module")  # it runs a loop of events, in whose thread Django's tests of other files would fail
def browser() -> Iterator[Browser]:
    with sync_playwright() as playwright:
        browser = playwright.chromium.launch(executable_path=CHROMIUM, args=["--no-sandbox"])
        yield browser
        browser.close()


@pytest.fixture
def page_as(quillmere: Served, browser: Browser) -> Iterator[Callable[..., Page]]:
    """Signs in as a role, at desktop width unless said, and gives the page on which the role starts. What the page's
    policy or its scripts complain of is collected in `page.complaints`."""
    contexts = []

    def sign_in(role: str, width: int = 1280, height: int = 900) -> Page:
        context = browser.new_context(
            viewport={"width": width, "height": height}, base_url=f"http://127.0.0.1:{quillmere.port}"
        )
        context.set_default_timeout(15_000)
        contexts.append(context)
        page = context.new_page()
        page.complaints = []  # type: ignore[attr-defined]
        page.on("pageerror", lambda error: page.complaints.append(str(error)))  # type: ignore[attr-defined]
        page.add_init_script(
            "document.addEventListener('securitypolicyviolation',"
            " event => console.error('policy: ' + event.violatedDirective + ' ' + event.blockedURI))"
        )
        page.on(
            "console",
            lambda message: message.type == "error" and page.complaints.append(message.text),  # type: ignore[attr-defined]
        )
        page.goto("/")
        page.get_by_label("User name").fill(role)
        page.get_by_label("Password").fill(quillmere.password)
        page.get_by_role("button", name="Sign in").click()
        page.get_by_role("button", name="Sign out").wait_for()
        page.wait_for_load_state("load")  # so that the page's own scripts answer
        return page

    yield sign_in
    for context in contexts:
        context.close()
