"""A sheet on a phone and on paper, in a real browser: nothing is cut off, and the code on the print opens it."""

from __future__ import annotations

import re
from typing import TYPE_CHECKING

import pypdfium2
import pytest
import zxingcpp
from playwright.sync_api import expect

if TYPE_CHECKING:
    from collections.abc import Callable

    from tests.browser.conftest import Served, Visit

SIZES = {"A4": (210, 297), "A6": (105, 148)}  # mm, ISO 216


def shared(page, kind: str = "sheet") -> str:
    """A new link, made as the crew makes it."""
    page.goto("/days/1/sheet")
    page.get_by_label("A link to").select_option(kind)
    page.get_by_label("Who is it for?").fill("the planner")
    page.get_by_role("button", name="Make a link").click()
    return page.get_by_label("The link", exact=True).input_value()


@pytest.mark.parametrize("paper", SIZES)
def test_the_sheet_prints_whole_on_whatever_paper_is_in_the_printer(
    visit: Callable[..., Visit], own_demo: Served, paper
):
    """Chromium lays it out for the paper that it is given; every page is of that size, and the code is read from it."""
    page = visit(own_demo).page
    link = shared(page)
    page.goto(link)
    document = pypdfium2.PdfDocument(page.pdf(format=paper, prefer_css_page_size=True, print_background=True))
    sizes = [tuple(side * 25.4 / 72 for side in each.get_size()) for each in document]
    assert all(size == pytest.approx(SIZES[paper], abs=0.5) for size in sizes)
    assert len(sizes) <= {"A4": 2, "A6": 5}[paper]  # on a machine with other letters it may be a page more
    assert [code.text for code in zxingcpp.read_barcodes(document[0].render(scale=4).to_pil())] == [link]
    words = "".join(each.get_textpage().get_text_bounded() for each in document)
    for each in ("Guests arrive", "First dance", "Dance floor", "Pack"):
        assert each in words
    document.close()
    wide, _ = SIZES[paper]
    page.set_viewport_size({"width": round((wide - 16) * 96 / 25.4), "height": 800})
    page.emulate_media(media="print")
    assert page.evaluate("document.documentElement.scrollWidth - document.documentElement.clientWidth") <= 0


def test_a_link_is_made_read_and_ended(visit: Callable[..., Visit], own_demo: Served):
    """The crew's own browser, and somebody's without an account."""
    crew, planner = visit(own_demo), visit(own_demo)
    link = shared(crew.page)
    planner.page.goto(link)
    expect(planner.page.locator("h1")).to_have_text("Midsummer wedding")
    expect(planner.page.locator(".qr")).to_be_hidden()
    expect(planner.page.get_by_role("navigation")).to_have_count(0)
    wide = planner.page.evaluate("document.documentElement.scrollWidth - document.documentElement.clientWidth")
    assert wide <= 0
    crew.page.goto("/days/1/sheet")
    expect(crew.page.locator("#links")).to_contain_text("last opened")
    crew.page.get_by_role("button", name="End it for the planner").click()
    expect(crew.page.locator("#links")).to_have_count(0)
    planner.trouble.expect("answered 404", "console: .*404")
    planner.page.reload()
    expect(planner.page.locator("h1")).to_have_text("Nothing to read here")


def test_a_sheet_goes_from_one_crew_to_another_as_a_file(visit: Callable[..., Visit], own_demo: Served):
    visited = visit(own_demo)
    page = visited.page
    page.goto("/days/1/sheet")
    visited.trouble.expect("request failed: GET .*sheet.json")  # the browser's word for what it saves and does not show
    with page.expect_download() as download:
        page.get_by_role("link", name="File for another Lychgate").click()
    file = download.value.path()
    page.goto("/")
    page.get_by_role("link", name="Bring in a sheet").click()
    page.get_by_label("The file, saved from a sheet").set_input_files(
        {"name": "a.sheet.json", "mimeType": "application/json", "buffer": file.read_bytes()}
    )
    page.get_by_label("Its day and running order").select_option(index=1)
    page.get_by_role("button", name="Bring it in").click()
    page.wait_for_url(re.compile(r"/days/2/setup$"))
    page.goto("/days/2/plan")
    expect(page.locator("#plan-stops")).to_contain_text("First dance")
