"""People before a served demonstration, each in a browser of their own."""

from collections.abc import Callable, Iterator
from contextlib import contextmanager

from playwright.sync_api import Browser, Page

from tests.demonstrations import Served

PATIENCE_SECONDS = 60
"""For one answer, on a machine on which others work too."""

PageAs = Callable[..., Page]


@contextmanager
def signing_in(site: Served, browser: Browser) -> Iterator[PageAs]:
    """Signs in as a role, at desktop width unless said, and gives the page on which the role starts. What the page's
    policy or its scripts complain of is collected in `page.complaints`."""
    contexts = []

    def sign_in(role: str, width: int = 1280, height: int = 900) -> Page:
        context = browser.new_context(
            viewport={"width": width, "height": height}, base_url=f"http://127.0.0.1:{site.port}"
        )
        context.set_default_timeout(1_000 * PATIENCE_SECONDS)
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
        page.get_by_label("Password").fill(site.password)
        page.get_by_role("button", name="Sign in").click()
        page.get_by_role("button", name="Sign out").wait_for()
        page.wait_for_load_state("load")  # so that the page's own scripts answer
        return page

    try:
        yield sign_in
    finally:
        for context in contexts:
            context.close()
