"""The clinical lead finds a device and reads whether it may be used."""


def test_a_device_is_found_by_its_tag(page_as):
    page = page_as("clinical")
    page.get_by_label("Tag, serial number, maker, model or class").fill("q000010")
    page.keyboard.press("Enter")
    page.get_by_role("link", name="Q000010").click()
    assert "hold is in force" in page.get_by_role("heading", level=1).inner_text()
    assert "Orvane Marl" in page.locator("p.quiet").inner_text()
    assert page.get_by_role("heading", name="What happened, newest first").is_visible()


def test_everything_is_reached_by_the_keyboard(page_as):
    page = page_as("clinical")
    page.keyboard.press("Tab")
    assert page.evaluate("document.activeElement.textContent") == "To the content"
    page.keyboard.press("Enter")
    assert page.evaluate("document.activeElement.id") == "main"
