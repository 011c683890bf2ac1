"""Two phones on one day: what is done on one is seen on the other, and nobody loses what they are typing."""

from __future__ import annotations

import re
from typing import TYPE_CHECKING

import pytest
from playwright.sync_api import Page, expect

from .conftest import Spot, serving
from .test_crew import invited, joined, link  # noqa: F401 - pytest finds the fixture by its name
from .test_journey import looked

if TYPE_CHECKING:
    from collections.abc import Callable

    from .conftest import Served, Visit

SPOTS = (Spot("Lawn", 15), Spot("Porch", 12), Spot("Vestry", 9))
ANOTHER = "This has changed on another phone"


def listening(page: Page, path: str) -> Page:
    """The page once its line is open; a reload after this would be noticed."""
    with page.expect_response("**/changes") as line:
        page.goto(path)
    assert line.value.headers["content-type"].startswith("text/event-stream")
    page.evaluate("window.untouched = true")
    return page


def not_reloaded(page: Page) -> None:
    assert page.evaluate("window.untouched") is True


def row(page: Page, place: str):
    return page.locator(".rows li").filter(has=page.locator("b", has_text=place)).get_by_role("button").first


@pytest.fixture
def day(new_day: Callable[..., str]) -> str:
    """A day on the shared server, where the shooter stands on the lawn."""
    return new_day("Live day", *SPOTS)


@pytest.fixture
def two(visit: Callable[..., Visit], demo: Served, day: str) -> tuple[Page, Page]:
    """Two phones on the day page, both listening."""
    one, other = (listening(visit(demo).page, day) for _ in range(2))
    row(one, "Lawn").click()
    expect(other.get_by_role("heading", level=1)).to_have_text("Lawn")
    return one, other


def test_a_nudge_is_seen_on_the_other_phone(two: tuple[Page, Page]) -> None:
    """Without a tap, a reload, or a word on the phone that made it."""
    one, other = two
    one.locator("#fell").click()
    expect(other.locator(".age")).to_contain_text("1 click darker")
    expect(one.locator(".age")).to_contain_text("1 click darker")
    not_reloaded(other)
    for page in two:
        expect(page.locator("#live")).to_be_empty()
    expect(other.locator("#heard")).to_have_text("Changed on another phone.")
    expect(one.locator("#heard")).not_to_contain_text("another phone")


def test_a_day_that_is_removed_says_so_on_the_other_phone(two: tuple[Page, Page], day: str) -> None:
    """Its page stays to be read; nothing that is tapped there would be kept."""
    one, other = two
    one.goto(f"{day}/removal")
    one.get_by_role("button", name="Remove this day").click()
    expect(one.get_by_role("heading", level=1)).to_have_text("Days")
    expect(other.locator("#live")).to_contain_text("This day was removed")
    expect(other.locator("#live").get_by_role("link")).to_have_attribute("href", "/")
    not_reloaded(other)


def test_folds_focus_and_place_stay_when_the_page_is_drawn_anew(two: tuple[Page, Page]) -> None:
    one, other = two
    other.locator("details.clip summary").click()
    other.locator("#undo").focus()
    other.evaluate("window.scrollTo(0, 120)")
    before = other.evaluate("scrollY")
    one.locator("#fell").click()
    expect(other.locator(".age")).to_contain_text("1 click darker")
    expect(other.locator("details.clip")).to_have_attribute("open", "")
    expect(other.locator("#undo")).to_be_focused()
    assert other.evaluate("scrollY") == before


def test_what_is_being_typed_stays_while_others_go_on(two: tuple[Page, Page]) -> None:
    """The page says that it is not the newest, and is once the note was sent."""
    one, other = two
    other.locator("details.clip summary").click()
    other.get_by_label("Notes").fill("the ring falls")
    one.locator("#fell").click()
    expect(other.locator("#live")).to_contain_text(ANOTHER)
    expect(other.get_by_label("Notes")).to_have_value("the ring falls")
    expect(other.locator(".age")).not_to_contain_text("darker")
    looked(one)
    row(one, "Porch").click()
    expect(one.get_by_role("heading", level=1)).to_have_text("Porch")
    expect(other.get_by_label("Notes")).to_have_value("the ring falls")
    other.get_by_role("button", name="Note it").click()
    expect(other.get_by_role("heading", level=1)).to_have_text("Porch")
    expect(other.locator("#live")).to_be_empty()
    expect(one.locator(".clip-tap button")).not_to_be_empty()


def test_what_was_typed_and_taken_out_again_holds_nothing_up(two: tuple[Page, Page]) -> None:
    one, other = two
    other.locator("details.clip summary").click()
    other.get_by_label("Notes").fill("x")
    one.locator("#fell").click()
    expect(other.locator("#live")).to_contain_text(ANOTHER)
    other.get_by_label("Notes").fill("")
    other.get_by_label("Notes").blur()
    expect(other.locator(".age")).to_contain_text("1 click darker")
    expect(other.locator("#live")).to_be_empty()


@pytest.mark.parametrize(
    ("path", "label", "typed"),
    [("/order", "What happens", "The first dance"), ("/setup", "Name", "Another name"), ("/rig", "", "")],
)
def test_a_form_says_that_it_is_not_the_newest_and_keeps_its_words(
    visit: Callable[..., Visit], demo: Served, two: tuple[Page, Page], day: str, path: str, label: str, typed: str
) -> None:
    desk = listening(visit(demo).page, day + path)
    if label:
        desk.get_by_label(label, exact=True).first.fill(typed)
    two[0].locator("#fell").click()
    expect(desk.get_by_role("status").filter(has_text=ANOTHER)).to_be_visible()
    if label:
        expect(desk.get_by_label(label, exact=True).first).to_have_value(typed)
        expect(desk.locator("#live")).to_contain_text("Showing it loses what is typed here")
    not_reloaded(desk)
    with desk.expect_navigation():
        desk.get_by_role("button", name="Show it").click()
    expect(desk.locator("#live")).to_be_empty()


def test_a_changed_order_reaches_the_day_page_and_the_plan(
    visit: Callable[..., Visit], demo: Served, two: tuple[Page, Page], day: str
) -> None:
    plan = listening(visit(demo).page, day + "/plan")
    desk = listening(visit(demo).page, day + "/order")
    for label, words in (("Time", "23:50"), ("What happens", "Last dance")):
        desk.get_by_label(label, exact=True).first.fill(words)
    desk.get_by_label("Place", exact=True).first.select_option(label="Porch")
    desk.get_by_role("button", name="Keep", exact=False).first.click()
    expect(desk.locator("#order-said")).to_have_text("Kept.")
    expect(plan.locator("#plan-stops")).to_contain_text("Last dance")
    not_reloaded(plan)
    expect(two[1].locator(".rows")).to_contain_text("Last dance")
    not_reloaded(two[1])
    desk.wait_for_timeout(500)
    expect(desk.locator("#live")).to_be_empty()


def test_a_reading_reaches_the_report_and_the_other_phone(
    visit: Callable[..., Visit], demo: Served, two: tuple[Page, Page], day: str
) -> None:
    report = listening(visit(demo).page, day + "/report")
    place = row(two[0], "Vestry").locator("xpath=ancestor::li").get_attribute("id").removeprefix("at-")
    two[0].goto(f"{day}/places/{place}/reading")
    two[0].get_by_role("radio", name="EV", exact=True).check()
    two[0].get_by_label("EV", exact=True).last.fill("6")
    two[0].get_by_role("button", name="Log reading").locator("visible=true").click()
    expect(report.locator("#lessons")).to_contain_text("Vestry")
    not_reloaded(report)


def test_a_phone_that_was_offline_catches_up(two: tuple[Page, Page]) -> None:
    """Ten changes or one: it fetches what there is now."""
    one, other = two
    other.context.set_offline(True)
    for clicks in range(1, 4):
        one.locator("#fell").click()
        expect(one.locator(".age")).to_contain_text(f"{clicks} click{'s' if clicks > 1 else ''} darker")
    expect(other.locator(".age")).not_to_contain_text("darker")
    other.context.set_offline(False)
    expect(other.locator(".age")).to_contain_text("3 clicks darker")
    not_reloaded(other)


ASLEEP = """(hidden) => {
  Object.defineProperty(document, "visibilityState", { value: hidden ? "hidden" : "visible", configurable: true });
  document.dispatchEvent(new Event("visibilitychange"));
}"""


def test_a_page_that_was_asleep_catches_up_when_it_wakes(two: tuple[Page, Page]) -> None:
    one, other = two
    other.evaluate(ASLEEP, True)
    one.locator("#fell").click()
    expect(one.locator(".age")).to_contain_text("1 click darker")
    other.wait_for_timeout(500)
    expect(other.locator(".age")).not_to_contain_text("darker")
    other.evaluate(ASLEEP, False)
    expect(other.locator(".age")).to_contain_text("1 click darker")
    not_reloaded(other)


def test_a_line_that_fell_silent_is_opened_again(visit: Callable[..., Visit], demo: Served, day: str) -> None:
    """After sleep a phone may hold a line on which nothing comes, and nothing says so."""
    page = visit(demo).page
    page.clock.install()
    page.add_init_script("""
      window.opened = 0;
      window.EventSource = class extends EventTarget { constructor() { super(); window.opened += 1; } close() {} };
    """)
    page.goto(day)
    page.clock.run_for(11_000)
    assert page.evaluate("opened") == 1
    page.clock.run_for(6_000)
    assert page.evaluate("opened") == 2


def test_pages_come_back_by_themselves_when_the_server_does(
    visit: Callable[..., Visit], own_demo: Served, new_day_on: Callable[..., str]
) -> None:
    day = new_day_on(own_demo, "Live day", *SPOTS)
    visited = visit(own_demo)
    visited.trouble.expect(r"request failed: GET .*/(changes|pocket.json)", r"console: .*ERR_")
    page = listening(visited.page, day)
    own_demo.kill()
    page.wait_for_timeout(1000)
    with serving(own_demo.data, own_demo.port) as again:
        another = visit(again)
        one = listening(another.page, day)
        row(one, "Porch").click()
        expect(page.get_by_role("heading", level=1)).to_have_text("Porch", timeout=20_000)
        another.context.close()
    not_reloaded(page)


def ended(lead: Page, name: str) -> None:
    """The lead ends somebody's session."""
    lead.goto("/crew")
    button = lead.get_by_role("listitem").filter(has_text=name).get_by_role("button", name=re.compile("^End")).first
    button.click()
    expect(button).to_have_count(0)


@pytest.mark.parametrize("asleep", [False, True], ids=["awake", "asleep"])
def test_a_phone_that_is_signed_out_says_so(visit, shut, link, asleep) -> None:  # noqa: F811 - the fixture
    """And keeps what it shows to read, also when it slept then, or when somebody taps on."""
    lead = joined(visit(shut), link, "Ines")
    visited = visit(shut)
    page = listening(joined(visited, invited(lead, "second"), "Cem"), "/days/1")
    place = page.locator(".rows .go b").first.inner_text()
    page.locator(".rows .go").first.click()
    expect(page.get_by_role("heading", level=1)).to_have_text(place)
    if asleep:
        page.evaluate(ASLEEP, True)
    visited.trouble.expect("answered 401", "console: .*401")
    ended(lead, "Cem")
    page.evaluate(ASLEEP, False)
    expect(page.locator("#live")).to_contain_text("This phone was signed out.", timeout=15_000)
    expect(page.locator("#live").get_by_role("link", name="Come in again")).to_have_attribute("href", "/join")
    page.locator("#fell").click()
    expect(page.locator("#away")).to_contain_text("1 tap kept, not sent: this phone was signed out. Come in again")
    expect(page.get_by_role("heading", level=1)).to_have_text(place)
    not_reloaded(page)
