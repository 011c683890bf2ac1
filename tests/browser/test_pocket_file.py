"""The day as one file, opened from the phone's own storage: no server, no network, no script."""

from __future__ import annotations

import pytest
from axe_playwright_python.sync_playwright import Axe
from playwright.sync_api import expect

from tests.browser.test_pages import RULES, broken_rules


@pytest.fixture
def saved(visit, demo, tmp_path):
    """The file as a phone saves it from the day page."""
    page = visit(demo).page
    page.goto("/days/1")
    with page.expect_download() as download:
        page.get_by_role("link", name="The day as a file").click()
    path = tmp_path / "day.html"
    download.value.save_as(path)
    assert download.value.suggested_filename.endswith("-day.html")
    return path.as_uri()


def test_it_opens_without_a_network_and_without_script(chromium, saved):
    context = chromium.new_context(viewport={"width": 320, "height": 640}, offline=True, java_script_enabled=False)
    page = context.new_page()
    page.goto(saved)
    expect(page.get_by_role("heading", level=1)).to_have_text("Midsummer wedding")
    expect(page.locator("details[open] li").first).to_be_visible()
    folded = page.locator("details:not([open])").last
    folded.locator("summary").click()
    expect(page.locator("details").last.locator("li").first).to_be_visible()
    context.close()


@pytest.mark.parametrize("scheme", RULES)
def test_it_is_legible_in_the_hand(chromium, saved, scheme):
    context = chromium.new_context(viewport={"width": 320, "height": 640}, offline=True, color_scheme=scheme)
    page = context.new_page()
    page.goto(saved)
    page.locator("details").evaluate_all("all => { for (const each of all) each.open = true }")
    assert page.evaluate("document.documentElement.scrollWidth") <= 320
    assert page.evaluate("[...document.querySelectorAll('summary')].every(e => e.getBoundingClientRect().height >= 48)")
    assert page.evaluate("parseFloat(getComputedStyle(document.querySelector('li b')).fontSize)") >= 20
    page.evaluate(Axe().axe_script)
    assert broken_rules(page, RULES[scheme]) == []
    context.close()
