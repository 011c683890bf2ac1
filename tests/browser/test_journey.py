"""A shooter's own way through the pages: by thumb, without a script, by keys, on a bad line."""

from __future__ import annotations

import re
from typing import TYPE_CHECKING

import pytest
from playwright.sync_api import Locator, Page, expect

from .conftest import Spot, Visit, serving

if TYPE_CHECKING:
    from collections.abc import Callable

    from playwright.sync_api import Route

    from .conftest import Served

SPOTS = (Spot("Lawn", 15), Spot("Porch", 12), Spot("Vestry", 9), Spot("Loft", 8))
NO_ANSWER = (r"request failed: POST", r"console: .*ERR_")


def row(page: Page, place: str) -> Locator:
    return page.locator(".rows li").filter(has=page.locator("b", has_text=place))


def tap_on(page: Page, place: str) -> None:
    row(page, place).get_by_role("button").first.click()


def looked(page: Page) -> None:
    """As long as nobody needs to read an answer; a thumb that comes down sooner is held off by taps.js."""
    page.wait_for_timeout(500)


def reads(answer: Locator, glass: str, turn: str, bars: int = 0) -> None:
    """An answer as it is read: the glass, then the iris with a bar a click, then the ISO."""
    expect(answer.locator(".glass")).to_have_text(glass)
    expect(answer.locator(".turn")).to_have_text(turn, use_inner_text=True)
    drawn = answer.locator(".turn path")
    assert (drawn.get_attribute("d").count("M") if drawn.count() else 0) == bars


def stands(page: Page, place: str, light: str, rig: str, glass: str) -> None:
    """Where the page says that the shooter stands, and with what on the camera."""
    expect(page.get_by_role("heading", level=1)).to_have_text(place)
    expect(page.locator("header .ev")).to_have_text([light] if light else [])
    expect(page.locator(".rig p")).to_have_text(f"{rig} {glass}", use_inner_text=True)


class Recce:
    """What is typed before the day."""

    def __init__(self, page: Page) -> None:
        self.page = page

    def venue(self, name: str) -> None:
        self.page.goto("/")
        expect(self.page.locator("main")).to_contain_text("What do you film?")
        self.page.get_by_role("link", name="New venue").click()
        self.page.get_by_label("Name").fill(name)
        self.page.get_by_label("Time zone").fill("Europe/London")
        self.page.get_by_role("button", name="Make the venue").click()
        expect(self.page.get_by_role("heading", level=1)).to_have_text(name)

    def place(self, name: str, light: str) -> None:
        adding = self.page.locator("section").filter(has=self.page.get_by_role("heading", name="Add a place"))
        adding.get_by_label("Name").fill(name)
        adding.get_by_label("Light").select_option(label=light)
        adding.get_by_role("button", name="Add place").click()
        expect(self.card(name)).to_contain_text("no reading")

    def card(self, place: str) -> Locator:
        return self.page.locator("section.card").filter(has=self.page.get_by_role("heading", name=place))

    def reading(self, place: str, method: str, says: str, *ticked: str, **figures: str) -> None:
        card = self.card(place)
        if not card.get_by_role("radio", name=method).is_visible():
            card.get_by_text("Log the first reading").or_(card.get_by_text("Log another reading")).click()
        card.get_by_role("radio", name=method).check()
        form = card.locator(f"form.by-{method.lower()}")
        for label, figure in figures.items():
            form.get_by_label(label.replace("_", " "), exact=True).fill(figure)
        for glass in ticked:
            form.get_by_label(glass).check()
        form.get_by_role("button", name="Log reading").click()
        expect(card.locator("b.ev")).to_have_text(says)

    def kit(self, name: str) -> None:
        self.page.goto("/")
        self.page.get_by_role("link", name="New kit").click()
        self.page.get_by_label("Name").fill(name)
        self.page.get_by_role("button", name="Make the kit").click()
        expect(self.page.get_by_role("heading", level=1)).to_have_text(name)

    def thing(self, things: str, **typed: str) -> None:
        part = self.page.locator(f"#{things}")
        adding = part.locator("details").last
        if adding.get_attribute("open") is None:
            adding.locator("summary").click()
        for label, value in typed.items():
            adding.get_by_label(label.replace("_", " ")).fill(value)
        adding.get_by_role("button", name="Add").click()
        expect(part.locator("summary b").last).to_have_text(typed["Name"])


def prepared(page: Page) -> None:
    """A venue with three readings, a kit, a day, and two plates in front of the lens."""
    recce = Recce(page)
    recce.venue("Mill barn")
    for name, light in (("Lawn", "open sun"), ("Porch", "open shade"), ("Vestry", "window light")):
        recce.place(name, light)
    recce.reading("Lawn", "EV", "EV 15.0", EV="15")
    # ISO 2720, C = 250: 10,240 lx is 10240/2.5 = 4096 = 2^12, so EV 12.
    recce.reading("Porch", "Lux", "EV 12.0", Lux="10240")
    venue = page.url.partition("#")[0]

    recce.kit("Shoulder bag")
    recce.thing("bodies", Name="Main body")  # base ISO 100, 1/50, a third-stop dial: as the form offers
    recce.thing("lenses", Name="35 mm", Filter_thread="77", Smallest="16", **{"Widest f/": "1.8"})
    recce.thing("holders", Name="100 mm holder", Adapter_rings="77")
    recce.thing("filters", Name="0.6 plate", Engraved="0.6")
    recce.thing("filters", Name="1.2 plate", Engraved="1.2")

    page.goto(venue)
    # f/2.8 is 8 squared and 1/50: log2(8 x 50) = 8.64. ISO 400 is two stops less light: 6.64. The 0.6 plate that was on
    # took 0.6 x log2(10) = 1.99 stops: EV 8.64. (That it is the light of f/2.8, 1/50 and ISO 100 bare is no chance.)
    recce.reading("Vestry", "Camera", "EV 8.6", "0.6 plate", Aperture="f/2.8", Shutter="1/50", ISO="400")

    page.get_by_role("link", name="New day here").click()
    page.get_by_label("Name").fill("Barn dance")
    page.get_by_role("button", name="Make the day").click()
    page.get_by_role("button", name="Keep, and open the day").click()
    expect(page.get_by_role("heading", level=1)).to_have_text("Barn dance")

    page.get_by_role("link", name="My rig").click()
    page.get_by_label("The holder is on the lens").check()
    page.get_by_label("Slot 1").select_option(label="0.6")
    page.get_by_label("Slot 2").select_option(label="1.2")
    page.get_by_role("button", name="This is my rig").click()
    stands(page, "Barn dance", "", "f/2.8 · 1/50 · ISO 100", "holder on with 0.6 and 1.2")


@pytest.mark.parametrize("script", [True, False], ids=["with the script", "with plain forms"])
def test_from_an_empty_book_to_the_second_reading(visit: Callable[..., Visit], empty: Served, script):
    """Venue, kit, day, rig, walking in, light that falls, a tap taken back, a new reading; a reload has it all."""
    page = visit(empty, java_script_enabled=script).page
    prepared(page)

    # Lawn: f/2.8, 1/50 and ISO 100 are EV 8.64, the plates take 1.8 x log2(10) = 5.98 stops: right for EV 14.62.
    # EV 15 is 0.38 too bright: one click (0.33) closes f/2.8 to f/3.2 and leaves 0.04, inside the 0.2 nobody minds.
    reads(row(page, "Lawn"), "Leave the glass", "close 1 to f/3.2 ISO 100", bars=1)
    tap_on(page, "Lawn")
    stands(page, "Lawn", "EV 15.0", "f/3.2 · 1/50 · ISO 100", "holder on with 0.6 and 1.2")
    # Porch: f/2.2 (two thirds of a stop wider than f/2.8) is EV 7.98; with 1.2 alone (3.99 stops) EV 11.96: 0.04 off.
    # From f/3.2 the dial goes 2.8, 2.5, 2.2: three clicks. Vestry: EV 8.64 is f/2.8 without glass: one click.
    reads(row(page, "Porch"), "Pull 0.6", "open 3 to f/2.2 ISO 100", bars=3)
    reads(row(page, "Vestry"), "Holder off", "open 1 to f/2.8 ISO 100", bars=1)

    looked(page)
    tap_on(page, "Vestry")
    inside = ("f/2.8 · 1/50 · ISO 100", "holder off, 0.6 and 1.2 in it")
    stands(page, "Vestry", "EV 8.6", *inside)
    here = page.locator(".here-now")
    expect(here).to_have_count(0)

    page.get_by_role("button", name="Light fell").click()
    stands(page, "Vestry", "EV 8.3", *inside)
    expect(page.locator(".age")).to_have_text("fresh: just now, 1 click darker since")
    reads(here, "Leave the glass", "open 1 to f/2.5 ISO 100", bars=1)
    looked(page)
    here.get_by_role("button").click()
    stands(page, "Vestry", "EV 8.3", "f/2.5 · 1/50 · ISO 100", inside[1])
    expect(here).to_have_count(0)
    looked(page)
    page.get_by_role("button", name="Undo").click()
    stands(page, "Vestry", "EV 8.3", *inside)

    page.get_by_role("link", name="Meter").click()
    page.get_by_role("radio", name="Lux").check()
    page.locator("form.by-lux").get_by_label("Lux").fill("640")  # 640/2.5 = 256 = 2^8: EV 8
    page.locator("form.by-lux").get_by_role("button", name="Log reading").click()
    for _ in range(2):
        stands(page, "Vestry", "EV 8.0", *inside)
        expect(page.locator(".age")).to_have_text("fresh: just now")
        # EV 8 is 0.64 below f/2.8's 8.64: two clicks (0.67) to f/2.2.
        reads(here, "Leave the glass", "open 2 to f/2.2 ISO 100", bars=2)
        # Back out on the lawn: the holder's plates again, and from f/2.8 the one click to f/3.2.
        reads(row(page, "Lawn"), "Holder on", "close 1 to f/3.2 ISO 100", bars=1)
        page.reload()
    page.get_by_role("link", name="All days").click()
    expect(page.get_by_role("link", name="Barn dance")).to_be_visible()


class Thumb:
    """A thumb on one spot of the glass, whatever the page puts under it."""

    def __init__(self, page: Page, on: Locator) -> None:
        box = on.bounding_box()
        self.page, self.x, self.y = page, box["x"] + 20, box["y"] + 20

    def tap(self) -> None:
        self.page.touchscreen.tap(self.x, self.y)


class Line:
    """A slow line: what is sent waits here until it is let through."""

    def __init__(self, page: Page, addresses: str) -> None:
        self.page, self.waiting = page, []
        page.route(addresses, self._hold)

    def _hold(self, route: Route) -> None:
        self.waiting.append(route)

    def let_through(self) -> None:
        """The request that is under way, once it is; until its answer is here."""
        for _ in range(100):
            if self.waiting:
                with self.page.expect_event("requestfinished", lambda request: request.method == "POST"):
                    self.waiting.pop(0).continue_()
                return
            self.page.wait_for_timeout(20)
        pytest.fail("nothing was sent: the tap was lost")

    def quiet(self) -> bool:
        self.page.wait_for_timeout(100)
        return not self.waiting


def with_pocket(page: Page) -> None:
    """Once the phone can answer for itself."""
    expect(page.locator("#away")).to_have_attribute("data-pocket", re.compile("."))


@pytest.fixture
def at_the_lawn(visit: Callable[..., Visit], demo: Served, new_day: Callable[..., str]) -> Visit:
    """A phone on a day's page, standing on the lawn since long enough."""
    visited = visit(demo, has_touch=True)
    visited.page.goto(new_day("Fete", *SPOTS))
    row(visited.page, "Lawn").get_by_role("button").first.tap()
    expect(visited.page.get_by_role("heading", level=1)).to_have_text("Lawn")
    with_pocket(visited.page)
    looked(visited.page)
    return visited


def test_every_quick_tap_on_light_fell_is_a_click(at_the_lawn):
    """Four taps while the first one is still under way: four clicks, shown and kept."""
    page = at_the_lawn.page
    line = Line(page, "**/nudges")
    thumb = Thumb(page, page.locator("#fell"))
    for _ in range(4):
        thumb.tap()
    for _ in range(4):
        line.let_through()
    expect(page.locator(".age")).to_contain_text("4 clicks darker since")
    assert line.quiet()
    page.reload()
    expect(page.locator(".age")).to_contain_text("4 clicks darker since")


def test_a_tap_that_is_half_done_when_an_answer_arrives_counts(at_the_lawn):
    """The button under the finger outlives the redrawing: pressed before the answer, let go after it."""
    page = at_the_lawn.page
    line = Line(page, "**/nudges")
    page.locator("#fell").click()
    page.mouse.down()
    line.let_through()
    expect(page.locator(".age")).to_contain_text("1 click darker since")
    page.mouse.up()
    line.let_through()
    expect(page.locator(".age")).to_contain_text("2 clicks darker since")


def one_tap_to_take_back(page: Page) -> None:
    """The way back to the lawn is one undo."""
    looked(page)
    page.locator("#undo").tap()
    expect(page.get_by_role("heading", level=1)).to_have_text("Lawn")


def test_a_double_tap_on_a_place_under_way_is_one_move(at_the_lawn):
    """The second tap on one drawing is not sent: one event, so one undo."""
    page = at_the_lawn.page
    line = Line(page, "**/moves")
    thumb = Thumb(page, row(page, "Porch"))
    thumb.tap()
    thumb.tap()
    line.let_through()
    expect(page.get_by_role("heading", level=1)).to_have_text("Porch")
    assert line.quiet()
    expect(page.get_by_role("heading", level=1)).to_have_text("Porch")
    one_tap_to_take_back(page)


def test_a_double_tap_on_a_place_does_not_walk_on_to_the_next(at_the_lawn):
    """The second half of a double tap finds another place under the thumb: not taken, and the page says so."""
    page = at_the_lawn.page
    thumb = Thumb(page, row(page, "Porch"))
    thumb.tap()
    expect(page.get_by_role("heading", level=1)).to_have_text("Porch")
    thumb.tap()
    expect(page.locator("#signal")).to_contain_text("Not taken")
    expect(page.get_by_role("heading", level=1)).to_have_text("Porch")
    looked(page)
    thumb.tap()
    expect(page.get_by_role("heading", level=1)).to_have_text("Vestry")
    expect(page.locator("#signal")).to_be_empty()


def test_a_finger_that_is_down_on_a_place_while_the_rows_change_is_told_so(at_the_lawn):
    """Pressed on one answer, let go on another: not taken, and the page says so."""
    page = at_the_lawn.page
    line = Line(page, "**/moves")
    row(page, "Porch").get_by_role("button").first.click()
    page.mouse.down()
    line.let_through()
    expect(page.get_by_role("heading", level=1)).to_have_text("Porch")
    page.mouse.up()
    expect(page.locator("#signal")).to_contain_text("Not taken")
    assert line.quiet()


def test_a_tap_on_another_place_meanwhile_waits_its_turn(at_the_lawn):
    """Two places while the first answer is under way: both are walked to, in that order, from what the pocket says."""
    page = at_the_lawn.page
    line = Line(page, "**/moves")
    row(page, "Porch").get_by_role("button").first.tap()
    expect(page.get_by_role("heading", level=1)).to_have_text("Porch")
    looked(page)
    shown = row(page, "Loft").locator(".turn").first.inner_text()
    row(page, "Loft").get_by_role("button").first.tap()
    line.let_through()
    line.let_through()
    expect(page.get_by_role("heading", level=1)).to_have_text("Loft")
    assert page.locator(".rig p").inner_text().split(" · ")[0] in shown
    looked(page)
    page.locator("#undo").tap()
    expect(page.get_by_role("heading", level=1)).to_have_text("Porch")


def test_undo_takes_back_the_tap_that_is_still_under_way(at_the_lawn):
    """A slip of the thumb is taken back at once: the slip, not what was done before it; and twice is still once."""
    page = at_the_lawn.page
    nudges, undos = Line(page, "**/nudges"), Line(page, "**/undo")
    page.locator("#fell").tap()
    page.locator("#undo").tap()
    page.locator("#undo").tap()
    nudges.let_through()
    undos.let_through()
    expect(page.locator(".age")).to_have_text("fresh: just now")
    assert undos.quiet()
    expect(page.get_by_role("heading", level=1)).to_have_text("Lawn")
    page.reload()
    expect(page.get_by_role("heading", level=1)).to_have_text("Lawn")


def test_a_link_waits_for_the_taps_before_it(at_the_lawn):
    """Leaving the page would lose what is queued: the link is followed once it has gone."""
    page = at_the_lawn.page
    day = page.url
    line = Line(page, "**/nudges")
    page.locator("#fell").tap()
    page.locator("#fell").tap()
    page.get_by_role("link", name="My rig").tap()
    expect(page.locator("#signal")).to_contain_text("on its way")
    line.let_through()
    line.let_through()
    page.wait_for_url("**/rig")
    page.goto(day)
    expect(page.locator(".age")).to_contain_text("2 clicks darker since")


def test_a_tap_whose_answer_was_lost_counts_once(at_the_lawn):
    """The page cannot know that it was kept, and sends it again by itself; that must not make it two."""
    page = at_the_lawn.page
    at_the_lawn.trouble.expect(*NO_ANSWER)

    def lose_the_answer(route: Route) -> None:
        route.fetch()
        route.abort()

    page.route("**/nudges", lose_the_answer, times=1)
    page.locator("#fell").tap()
    expect(page.locator(".age")).to_contain_text("1 click darker since")
    expect(page.locator("#away")).to_be_empty()
    page.locator("#fell").tap()
    expect(page.locator(".age")).to_contain_text("2 clicks darker since")


def test_a_tap_that_failed_is_sent_again_before_the_next_one(at_the_lawn):
    """Of two quick taps the first fails: both are kept, in their order, and the page says so until they arrived."""
    page = at_the_lawn.page
    at_the_lawn.trouble.expect(*NO_ANSWER)
    line = Line(page, "**/nudges")
    page.locator("#fell").tap()
    page.locator("#fell").tap()
    page.wait_for_timeout(100)
    line.waiting.pop().abort()
    expect(page.locator("#away")).to_contain_text("2 taps kept")
    expect(page.locator(".age")).to_have_text("2 clicks darker, not sent yet")
    line.let_through()
    line.let_through()
    expect(page.locator(".age")).to_contain_text("2 clicks darker since")
    expect(page.locator("#away")).to_be_empty()
    assert line.quiet()


def test_back_shows_what_was_tapped_since(at_the_lawn):
    """A browser goes back to the page as it was first drawn; the taps since are there all the same, or a warning."""
    page = at_the_lawn.page
    page.get_by_role("link", name="Meter").tap()
    expect(page.get_by_role("heading", level=1)).to_have_text("Meter Lawn")
    page.go_back()
    expect(page.get_by_role("heading", level=1)).to_have_text("Lawn")
    expect(page.locator("#undo")).to_be_enabled()

    page.get_by_role("link", name="Meter").tap()
    expect(page.get_by_role("heading", level=1)).to_have_text("Meter Lawn")
    at_the_lawn.trouble.expect("request failed: GET /days/", "console: .*ERR_FAILED", "console: .*Failed to fetch")
    page.route(
        "**/days/*", lambda route: route.abort() if route.request.resource_type == "fetch" else route.continue_()
    )
    page.go_back()
    expect(page.locator("#away")).to_contain_text("No answer from the server. From the phone, as of")


def test_a_reading_that_did_not_arrive_is_said(visit: Callable[..., Visit], demo: Served):
    """On the recce too: what was typed is still there, and the page says that it was not kept."""
    visited = visit(demo, has_touch=True)
    page = visited.page
    page.goto("/venues/1")
    place = page.locator("#place-1")
    place.locator("summary").first.tap()
    place.get_by_role("radio", name="Lux").check()
    figure = place.locator("form.by-lux").get_by_label("Lux")
    figure.fill("640")
    visited.trouble.expect(*NO_ANSWER, "console: .*Failed to fetch")
    page.route("**/readings", lambda route: route.abort())
    place.get_by_role("button", name="Log reading").tap()
    expect(page.locator("#signal")).to_contain_text("Not kept")
    expect(figure).to_have_value("640")


def test_the_server_goes_away_and_comes_back(visit: Callable[..., Visit], own_demo: Served, new_day_on):
    """A tap that was answered is kept through a kill -9; one that was not is kept on the phone, and sent by itself."""
    visited = visit(own_demo, has_touch=True)
    page = visited.page
    page.goto(new_day_on(own_demo, "Fete", *SPOTS))
    row(page, "Porch").get_by_role("button").first.tap()
    expect(page.get_by_role("heading", level=1)).to_have_text("Porch")
    with_pocket(page)
    own_demo.kill()
    visited.trouble.expect(*NO_ANSWER, r"request failed: GET .*/(changes|pocket\.json)")
    page.locator("#fell").tap()
    expect(page.locator("#away")).to_contain_text("1 tap kept, sent when it answers")
    expect(page.locator(".age")).to_have_text("1 click darker, not sent yet")
    with serving(own_demo.data, own_demo.port):
        expect(page.locator(".age")).to_contain_text("1 click darker since", timeout=40_000)
        expect(page.locator("#away")).to_be_empty()
        page.reload()
        expect(page.get_by_role("heading", level=1)).to_have_text("Porch")
        expect(page.locator(".age")).to_contain_text("1 click darker since")


FOCUS = """() => {
  const at = document.activeElement, box = at.getBoundingClientRect(), bar = document.querySelector(".bar");
  const style = getComputedStyle(at), lowest = bar.contains(at) ? innerHeight : bar.getBoundingClientRect().top;
  return {
    words: at === document.body ? "" : (at.closest("li")?.querySelector("b") ?? at).innerText.trim(),
    tag: at.tagName, ring: style.outlineStyle === "none" ? 0 : parseFloat(style.outlineWidth),
    inSight: box.top >= 0 && box.bottom <= lowest + 1,
  };
}"""


def tab_to(page: Page, words: str) -> None:
    """Tab until the focus is on it; wherever the focus comes by, it is to be seen."""
    for _ in range(40):
        page.keyboard.press("Tab")
        focus = page.evaluate(FOCUS)
        if focus["tag"] == "BODY":
            continue  # the browser's own controls
        assert focus["ring"] >= 2, f"no focus ring on {focus['words']!r}"
        assert focus["inSight"], f"{focus['words']!r} has the focus behind the bar"
        if focus["words"].startswith(words):
            return
    pytest.fail(f"the keyboard does not come to {words!r}")


def test_by_keyboard_alone(visit: Callable[..., Visit], demo: Served, new_day: Callable[..., str]):
    """Walk, nudge and undo with Tab and Enter: the focus is seen, and is never back at the top of the document."""
    page = visit(demo, viewport={"width": 390, "height": 520}).page  # low, so that the focus can come behind the bar
    page.goto(new_day("Fete", *SPOTS))
    tab_to(page, "Vestry")
    page.keyboard.press("Enter")
    expect(page.get_by_role("heading", level=1)).to_have_text("Vestry")
    focus = page.evaluate(FOCUS)
    assert (focus["tag"], focus["words"]) == ("H1", "Vestry")
    assert focus["ring"] >= 2
    page.keyboard.press("Enter")  # a second one must not walk on
    page.keyboard.press("Tab")
    assert page.evaluate(FOCUS)["words"] == "24-70 zoom", "the lens that is not on is one Tab from the heading"
    page.keyboard.press("Tab")
    assert page.evaluate(FOCUS)["words"].startswith("Sky:"), "then the sky, folded"
    for words in ("Clips", "Note Clip 1"):
        page.keyboard.press("Tab")
        assert page.evaluate(FOCUS)["words"] == words
    page.keyboard.press("Tab")
    assert page.evaluate(FOCUS)["words"] == "Loft", "and the next place is the next"

    tab_to(page, "Light fell")
    heard = set()
    for said in ("1 click", "2 clicks"):
        page.keyboard.press("Enter")
        expect(page.locator(".age")).to_contain_text(f"{said} darker since")
        assert page.evaluate(FOCUS)["words"].startswith("Light fell")
        heard.add(page.get_by_role("status").text_content())
    assert len(heard) == 2, "a screen reader says what has changed, and nothing has"

    tab_to(page, "Undo")
    for said in ("fresh: just now, 1 click darker since", "fresh: just now"):
        page.keyboard.press("Enter")
        expect(page.locator(".age")).to_have_text(said)
        assert page.evaluate(FOCUS)["words"] == "Undo"
    page.keyboard.press("Enter")
    expect(page.get_by_role("heading", level=1)).to_have_text("Fete")
    # Nothing is left to undo: the button can hold no focus, so the heading has it.
    expect(page.get_by_role("heading", level=1)).to_be_focused()


@pytest.mark.parametrize("width", [320, 360, 390])
def test_the_place_s_name_stays_whole_when_the_light_was_nudged_and_the_lens_changed(page, new_day, width):
    """The longest words that the top of the page can say stand beside or under the name, and never break it."""
    page.set_viewport_size({"width": width, "height": 844})
    page.goto(new_day("Longest words", Spot("Chapel door", 11.3, "shade"), Spot("Chapel inside", 6.6, "window")))
    page.locator(".rows .go").first.click()
    heading = page.get_by_role("heading", level=1)
    expect(heading).to_have_text("Chapel door")
    one_line = heading.bounding_box()["height"]
    assert one_line < 1.5 * float(heading.evaluate("e => parseFloat(getComputedStyle(e).fontSize)"))
    for _ in range(2):
        page.locator("#fell").click()
    expect(page.locator(".age")).to_contain_text("2 clicks darker since")
    page.locator(".lenses button").first.click()
    expect(page.locator("#said")).to_have_text("Lens changed; the glass stays.")
    assert heading.bounding_box()["height"] == one_line
    for each in ("#said", ".age"):
        line = page.locator(each)
        size = float(line.evaluate("e => parseFloat(getComputedStyle(e).fontSize)"))
        assert line.bounding_box()["height"] < 1.5 * size, f"{each} is broken into lines"
