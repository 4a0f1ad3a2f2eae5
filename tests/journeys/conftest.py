"""A real browser before a real server. Without Debian's chromium the journeys are skipped, and say so."""

import shutil
from collections.abc import Iterator

import pytest
from playwright.sync_api import Browser, sync_playwright

from tests.demonstrations import Served
from tests.journeys.quillmere import Built, built, served
from tests.journeys.signing_in import PageAs, signing_in

CHROMIUM = shutil.which("chromium") or shutil.which("chromium-browser")


@pytest.fixture(scope="session")
def chromium() -> str:
    if CHROMIUM is None:
        pytest.skip("no chromium on this machine: `apt install chromium` brings it")
    return CHROMIUM


@pytest.fixture(scope="session")
def quillmere_built(chromium: str, tmp_path_factory: pytest.TempPathFactory) -> Iterator[Built]:
    with built(tmp_path_factory.mktemp("built")) as found:
        yield found


@pytest.fixture(scope="session")
def quillmere(quillmere_built: Built, tmp_path_factory: pytest.TempPathFactory) -> Iterator[Served]:
    with served(quillmere_built, tmp_path_factory.mktemp("quillmere") / "data") as site:
        yield site


@pytest.fixture(scope="module")  # it runs a loop of events, in whose thread Django's tests of other files would fail
def browser(chromium: str) -> Iterator[Browser]:
    with sync_playwright() as playwright:
        browser = playwright.chromium.launch(executable_path=chromium, args=["--no-sandbox"])
        yield browser
        browser.close()


@pytest.fixture
def page_as(quillmere: Served, browser: Browser) -> Iterator[PageAs]:
    with signing_in(quillmere, browser) as sign_in:
        yield sign_in
