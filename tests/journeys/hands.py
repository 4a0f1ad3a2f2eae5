"""What a person does with a page, and reads on it."""

from playwright.sync_api import Page


def heading(page: Page) -> str:
    return page.get_by_role("heading", level=1).inner_text()


def choose(page: Page, question: str, word: str) -> None:
    page.get_by_role("group", name=question).first.get_by_text(word, exact=True).click()
