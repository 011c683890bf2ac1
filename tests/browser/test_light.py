"""Light that moves, in a real browser: a photo on the recce, a nudge shared under one sky, the picture of the day."""

from __future__ import annotations

import re
import time
from datetime import UTC, datetime
from typing import TYPE_CHECKING

import pytest
from playwright.sync_api import expect

from tests.pages.pictures import FIGURES, jpeg, packed

from .conftest import Spot

if TYPE_CHECKING:
    from playwright.sync_api import Locator, Page


BOTH_WAYS = pytest.mark.parametrize("scripted", [True, False], ids=["with the script", "with plain forms"])
GARDEN = (Spot("Lawn", 14.0), Spot("Porch", 11.0, "shade"), Spot("Hall", 6.0, "lamps"), Spot("Nave", 7.0, "window"))


def row(page: Page, place: str) -> Locator:
    return page.locator(".rows li").filter(has=page.get_by_text(place, exact=True))


@BOTH_WAYS
def test_a_nudge_is_shared_with_the_places_under_the_same_sky_and_taken_back(visit, demo, new_day, scripted):
    page = visit(demo, java_script_enabled=scripted).page
    page.goto(new_day("Fete", *GARDEN))
    page.locator(".rows .go").first.click()
    expect(page.get_by_role("heading", level=1)).to_have_text("Lawn")
    expect(page.locator("#offer")).to_have_count(0)
    for _ in range(3):
        page.locator("#fell").click()
        page.wait_for_timeout(100)
    offer = page.locator("#offer")
    expect(offer).to_have_text("Light fell 3 clicks: the same at the 2 others under this sky")
    expect(row(page, "Porch")).to_contain_text("EV 11.0")
    offer.click()
    for place, level in (("Porch", "EV 10.0"), ("Nave", "EV 6.0"), ("Hall", "EV 6.0")):
        expect(row(page, place)).to_contain_text(level)
    expect(page.locator("#offer")).to_have_count(0)
    page.wait_for_timeout(500)
    page.locator("#undo").click()
    expect(row(page, "Porch")).to_contain_text("EV 11.0")
    expect(page.locator("header .ev")).to_have_text("EV 13.0")


def test_the_offer_covers_no_answer_and_moves_none(page, new_day):
    """It comes and goes inside the bar at the foot: what stands above it stays where it is."""
    page.set_viewport_size({"width": 360, "height": 740})
    page.goto(new_day("Fete", *GARDEN))
    page.locator(".rows .go").first.click()
    expect(page.get_by_role("heading", level=1)).to_have_text("Lawn")
    page.locator("#fell").click()
    expect(page.locator("#offer")).to_be_visible()
    above = row(page, "Porch").bounding_box()["y"]
    page.locator("#rose").click()
    expect(page.locator("#offer")).to_have_count(0)
    page.locator("#rose").click()
    expect(page.locator("#offer")).to_contain_text("Light rose 1 click")
    assert abs(row(page, "Porch").bounding_box()["y"] - above) < 1
    page.evaluate("window.scrollTo(0, document.body.scrollHeight)")
    last, bar = page.locator("footer a").last.bounding_box(), page.locator(".bar").bounding_box()
    assert last["y"] + last["height"] <= bar["y"] + 1


def test_the_sky_is_said_with_one_tap(visit, own_demo):
    page = visit(own_demo).page
    page.goto("/days/1")
    before = float(re.search(r"EV ([\d.]+)", row(page, "Jetty").inner_text())[1])
    page.locator(".sky summary").click()
    page.locator("#sky-overcast").click()
    expect(page.locator(".sky summary")).to_have_text("Sky: overcast")
    expect(row(page, "Jetty")).to_contain_text("Stale: the sky has changed")
    assert float(re.search(r"EV ([\d.]+)", row(page, "Jetty").inner_text())[1]) < before - 0.5
    expect(page.locator("#heard")).to_contain_text("Sky overcast")
    page.wait_for_timeout(500)
    page.locator("#undo").click()
    expect(row(page, "Jetty")).not_to_contain_text("the sky has changed")


@BOTH_WAYS
def test_a_photo_is_logged_from_the_phone(visit, empty, scripted):
    """And the form of the method used last is the one that is open the next time."""
    page = visit(empty, java_script_enabled=scripted).page
    page.goto("/venues/new")
    page.get_by_label("Name").fill("Mill")
    page.get_by_label("Time zone").fill("Europe/London")
    page.get_by_role("button", name="Make the venue").click()
    page.get_by_label("Name").first.fill("Yard")
    page.get_by_role("button", name="Add place").click()
    page.get_by_role("radio", name="Photo").check()
    form = page.locator("form.by-photo")
    taken = f"{datetime.now(UTC):%Y:%m:%d} 00:10:00"
    block = packed(exif=FIGURES | {0x9003: ("ASCII", taken)})
    form.get_by_label("Photo").set_input_files({"name": "a.jpg", "mimeType": "image/jpeg", "buffer": jpeg(block)})
    form.get_by_text("overcast", exact=True).click()
    form.get_by_role("button", name="Log reading").click()
    card = page.locator("section.card")
    expect(card).to_contain_text("EV 9.2")
    expect(card).to_contain_text("by Photo")
    page.get_by_text("Log another reading").click()
    expect(page.get_by_role("radio", name="Photo")).to_be_checked()


def test_a_lux_figure_is_logged_in_a_few_taps(page, new_day):
    """The budget is 15 s a reading on a phone: here five keys, three taps; the rest is the hand's."""
    address = new_day("Fete", Spot("Lawn", None))
    page.goto(address)
    page.get_by_role("link", name="No reading yet").click()
    start = time.monotonic()
    taps = [page.get_by_role("radio", name="Lux").check, lambda: page.locator("form.by-lux [name=value]").click()]
    for tap in taps:
        tap()
    assert page.locator("form.by-lux [name=value]").get_attribute("inputmode") == "decimal", "a keypad, not a keyboard"
    page.keyboard.type("20480")
    page.keyboard.press("Enter")
    expect(page.locator(".rows li").first).to_contain_text("EV 13.0")
    assert time.monotonic() - start < 15


def test_the_light_picture_says_in_words_what_it_draws(page):
    """To a screen reader each strip is one image with a name and a sentence, and a table stands beside it."""
    page.goto("/days/1/light")
    strips = page.locator("svg[role=img]")
    expect(strips).to_have_count(8)
    expect(strips.first).to_have_accessible_name(re.compile("Orchard.*light over the day"))
    assert "EV" in strips.first.locator("desc").text_content()
    page.get_by_text("Orchard in figures").click()
    table = page.get_by_role("table").first
    expect(table.get_by_role("columnheader")).to_have_text(["time", "sun", "EV", "from", "to", "glass"])
    expect(table.get_by_role("rowheader").first).to_have_text("00:00")


def test_the_light_picture_is_printed_whole(page, tmp_path):
    """Every strip and, without a tap, every table."""
    page.goto("/days/1/light")
    page.emulate_media(media="print")
    expect(page.get_by_role("table").first).to_be_visible()
    expect(page.get_by_role("table").last).to_be_visible()
    page.pdf(path=tmp_path / "light.pdf", format="A4")
    assert (tmp_path / "light.pdf").read_bytes().count(b"/Type /Page\n") <= 8


def test_a_page_left_open_is_fetched_again_each_minute(visit, own_demo):
    """Light moves while nobody taps; without signal the page says that its figures may be old."""
    visited = visit(own_demo)
    page = visited.page
    page.clock.install()
    page.goto("/days/1")
    expect(page.locator(".rows li").first).to_be_visible()
    with page.expect_request(lambda request: request.method == "GET" and request.url.endswith("/days/1")):
        page.clock.fast_forward(61_000)
    expect(page.get_by_role("heading", level=1)).to_have_text("Orchard")
    visited.trouble.expect("request failed: GET", "console: .*Failed to fetch", "console: .*ERR_FAILED")
    page.route("**/days/1", lambda route: route.abort())
    page.wait_for_timeout(300)
    page.clock.fast_forward(61_000)
    expect(page.locator("#away")).to_contain_text("No answer from the server.")
