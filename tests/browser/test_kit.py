"""The kit on its way: packed by a list the night before, another lens in one tap on the day, a filter that is asked."""

from __future__ import annotations

import re
from typing import TYPE_CHECKING

from playwright.sync_api import expect

from .conftest import Spot

if TYPE_CHECKING:
    from collections.abc import Callable

    from playwright.sync_api import Page, Request

    from .conftest import Served, Visit

# f/2.8, 1/50 and ISO 100 expose EV 8.64 with no glass.
SPOTS = (Spot("Lawn", 14.64), Spot("Vestry", 8.64, "window"))


def sent(page: Page) -> list[Request]:
    """Every form that the page sends from now on."""
    requests: list[Request] = []
    page.on("request", lambda request: requests.append(request) if request.method == "POST" else None)
    return requests


def glass_of(page: Page) -> str:
    return page.locator(".rig p small").inner_text()


def other_lens(page: Page) -> None:
    page.locator(".lenses button").first.click()


def test_another_lens_is_one_tap_and_undo_brings_the_old_one_back(page, new_day):
    """A prime at the altar, a zoom at the door: the glass goes over, and the answers are the new lens's."""
    page.goto(new_day("Barn dance", *SPOTS))
    page.locator(".rows .go").first.click()
    expect(page.get_by_role("heading", level=1)).to_have_text("Lawn")
    expect(page.locator(".rig p small")).to_contain_text("holder on with")
    expect(page.locator(".age")).to_contain_text("fresh")  # drawn by the server; the pocket may have been quicker
    before, row = glass_of(page), page.locator(".rows li").first.inner_text()
    expect(page.locator(".lens-on")).to_have_text("35 mm prime")
    forms = sent(page)

    other_lens(page)
    expect(page.locator(".lens-on")).to_have_text("24-70 zoom")
    expect(page.locator("#said")).to_have_text("Lens changed; the glass stays.")
    assert len(forms) == 1
    assert glass_of(page) == before
    expect(page.get_by_role("heading", level=1)).to_have_text("Lawn")

    page.reload()
    expect(page.locator(".lens-on")).to_have_text("24-70 zoom")
    page.get_by_role("button", name="Undo").click()
    expect(page.locator(".lens-on")).to_have_text("35 mm prime")
    expect(page.locator(".rows li").first).to_have_text(row, use_inner_text=True)


def test_a_lens_without_its_ring_says_what_is_missing(visit: Callable[..., Visit], own_demo: Served, new_day_on):
    """The glass comes off with the old lens, and the shooter reads why while it is in the hand."""
    address = new_day_on(own_demo, "Barn dance", *SPOTS)
    visited = visit(own_demo)
    page = visited.page
    old = {"name": "Old prime", "widest": "2", "smallest": "16", "thread": "72", "loss_stops": "0"}
    assert visited.asks.post("/kits/1/lenses", form=old).ok
    page.goto(address)
    page.locator(".rows .go").first.click()
    expect(page.locator(".rig p small")).to_contain_text("holder on with")
    page.get_by_role("button", name="Old prime").click()
    expect(page.locator("#said")).to_contain_text("came off: no 72 mm adapter ring.")
    expect(page.locator(".rig p small")).to_contain_text("holder off")


def test_another_lens_without_a_script(visit: Callable[..., Visit], demo: Served, new_day):
    """A plain form does it too."""
    page = visit(demo, java_script_enabled=False).page
    page.goto(new_day("Barn dance", *SPOTS))
    other_lens(page)
    expect(page.locator(".lens-on")).to_have_text("24-70 zoom")
    expect(page).to_have_url(re.compile(r"/days/\d+$"))


def test_a_thumb_that_trembles_changes_the_lens_once(page, new_day):
    """A second tap in the same moment would bring another lens, or the old one back."""
    page.goto(new_day("Barn dance", *SPOTS))
    page.locator(".lenses button").first.dblclick()
    expect(page.locator(".lens-on")).to_have_text("24-70 zoom")
    page.wait_for_load_state("networkidle")
    expect(page.locator(".lens-on")).to_have_text("24-70 zoom")
    page.get_by_role("button", name="Undo").click()
    expect(page.locator(".lens-on")).to_have_text("35 mm prime")
    expect(page.get_by_role("button", name="Undo")).to_be_disabled()


def test_the_bag_is_packed_from_a_list_that_says_why(page, new_day):
    """
    By hand: the lawn is 6 stops over f/2.8, the vestry is right without glass.

    Iris f/2.8 and nothing else is wanted on the lawn, and 0.6 and 1.2 take 5.98 stops: the 0.9 stays at home.
    """
    address = new_day("Barn dance", *SPOTS)
    page.goto(f"{address}/setup")
    lawn = page.locator("fieldset.line").first
    lawn.get_by_text("The look").click()
    for label in ("As wide as f/", "As small as f/"):
        lawn.get_by_label(label).fill("2.8")
    page.get_by_role("button", name="Keep, and open the day").click()

    page.get_by_role("link", name="Pack the bag").click()
    expect(page.get_by_role("heading", level=1)).to_have_text("Pack the bag")
    packed = page.locator("#packed li")
    expect(packed).to_have_text(
        ["0.6 plate for Lawn", "1.2 plate for Lawn", "the holder for Lawn", "its 77 mm adapter ring for Lawn"],
        use_inner_text=True,
    )
    expect(page.locator("#at-home")).to_contain_text("0.9 plate")
    page.get_by_role("link", name="Barn dance").click()
    expect(page.locator(".rows li")).to_have_count(2)


def test_an_engraving_that_could_be_several_things_is_asked_about_once(visit: Callable[..., Visit], own_demo: Served):
    """What was typed is still there; saying what is meant is all that is left to do."""
    visited = visit(own_demo)
    page = visited.page
    page.goto("/kits/1")
    part = page.locator("#filters")
    part.locator("details").last.locator("summary").click()
    adding = part.locator("details").last
    adding.get_by_label("Name").fill("Old grey")
    adding.get_by_label("Engraved").fill("ND 6")
    visited.trouble.expect("answered 422", "console: .*422")
    adding.get_by_role("button", name="Add").click()
    adding = page.locator("#filters details").last
    expect(adding.get_by_label("Engraved")).to_have_value("ND 6")
    expect(adding).to_contain_text("a density of 0.6 or 6 stops")
    adding.get_by_label("Meant as").select_option(label="density")
    adding.get_by_role("button", name="Add").click()
    expect(page.locator("#filters summary").filter(has_text="Old grey")).to_contain_text("0.6 (marked ND 6)")


def test_another_way_is_read_and_taken(page, new_day):
    """Quickest first; one tap keeps it, and the day stands there with it."""
    page.goto(new_day("Barn dance", *SPOTS))
    page.get_by_role("link", name="Other ways to Lawn").click()
    ways = page.locator(".ways button")
    assert ways.count() > 1
    turn = ways.nth(1).locator(".turn > span").last.inner_text()
    assert "ISO" in turn or "f/" in turn or "1/" in turn
    ways.nth(1).click()
    expect(page.get_by_role("heading", level=1)).to_have_text("Lawn")
