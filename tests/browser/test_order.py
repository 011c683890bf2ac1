"""The running order as its users have it: brought in, moved, kept, printed, walked along, late, and read back."""

from __future__ import annotations

import re
from typing import TYPE_CHECKING

import pytest
from playwright.sync_api import expect

from .conftest import Spot

if TYPE_CHECKING:
    from collections.abc import Callable

    from playwright.sync_api import Page

    from .conftest import Served, Visit

DESK = {"width": 1280, "height": 900}
SPOTS = (Spot("Lawn", 14.6, "lamps"), Spot("Porch", 11.3, "lamps"), Spot("Vestry", 8.64, "lamps"))
PASTED = (
    "13:30 Lawn: guests arrive\n14:00-14:10 Porch\n14:10-14:45 Vows in the vestry\n16:00 Lawn: confetti\n18:00 Dinner"
)
A4, A6 = (595, 842), (298, 420)  # points; ISO 216: 210 by 297 mm, 105 by 148 mm


def names(page: Page) -> list[str]:
    """What happens, line by line."""
    return [each for each in (field.input_value() for field in page.locator("input[name^=name_]").all()) if each]


def times(page: Page) -> list[str]:
    return [each for each in (field.input_value() for field in page.locator("input[name^=at_]").all()) if each]


def brought(page: Page, day: str, lines: str = PASTED) -> None:
    """Pasted, looked through, kept."""
    page.goto(f"{day}/order")
    page.get_by_label("Paste it, a stop a line").fill(lines)
    page.get_by_role("button", name="Look it through").click()
    page.get_by_role("button", name="Keep the order").click()
    expect(page.locator("#order-said")).to_have_text("Kept.")


@pytest.mark.parametrize("script", [True, False], ids=["with the script", "with plain forms"])
def test_from_a_paste_to_the_report(visit: Callable[..., Visit], own_demo: Served, new_day_on, script):
    """The night before at the desk, the day on the phone, the report afterwards."""
    day = new_day_on(own_demo, "Barn dance", *SPOTS, on="2031-06-20")
    page = visit(own_demo, viewport=DESK, java_script_enabled=script).page
    brought(page, day)
    assert times(page) == ["13:30", "14:00", "14:10", "16:00", "18:00"]

    # One tap later, at the desk: the vows and what follows.
    page.get_by_label("Everything from").select_option(index=2)
    page.get_by_label("Minutes later").fill("15")
    page.get_by_role("button", name="Shift", exact=True).click()
    expect(page.locator("input[name=at_2]")).to_have_value("14:25")
    expect(page.locator("input[name=until_2]")).to_have_value("15:00")
    page.get_by_role("button", name="Keep the order").click()
    expect(page.locator("#order-said")).to_have_text("Kept.")
    assert times(page) == ["13:30", "14:00", "14:25", "16:15", "18:15"]

    page.locator("nav").get_by_role("link", name="Plan").click()
    expect(page.get_by_role("heading", level=1)).to_have_text("The day planned")
    rows = page.locator("#plan-stops tbody tr")
    expect(rows).to_have_count(5)
    # Lawn: EV 14.6 is 5.96 stops over f/2.8, 1/50 and ISO 100; 0.6 and 1.2 take 5.98.
    expect(rows.nth(0)).to_contain_text("holder on with 0.6 and 1.2; f/2.8, ISO 100")
    expect(rows.nth(2)).to_contain_text("Holder off")
    expect(rows.nth(4)).to_contain_text("Not planned: no place")
    expect(page.get_by_role("img").first).to_be_visible()

    phone = visit(own_demo, java_script_enabled=script).page
    phone.goto(day)
    expect(phone.locator(".next .when-stop")).to_contain_text("guests arrive")
    expect(phone.locator(".next .when-stop")).to_contain_text("Start here")
    _late_and_in_time_again(phone, page, day)
    _tap_next(phone)
    expect(phone.locator("h1")).to_have_text("Lawn")
    expect(phone.locator(".next .when-stop")).to_contain_text("Next")
    phone.goto(day)
    phone.get_by_role("button", name="Note Clip 1").click()
    expect(phone.get_by_role("button", name="Note Clip 2")).to_be_visible()
    _tap_next(phone)
    expect(phone.locator("h1")).to_have_text("Porch")

    page.goto(f"{day}/plan")
    expect(page.locator("#done tbody tr")).to_have_count(2)
    expect(page.locator("#plan-stops tbody tr")).to_have_count(3)
    page.get_by_role("link", name="Camera report").click()
    lines = page.locator("#report tbody tr")
    expect(lines).to_have_count(3)
    expect(lines.nth(1)).to_contain_text("Clip 1")
    expect(lines.nth(0)).to_contain_text("planned 13:30")
    expect(lines.nth(0)).to_contain_text("holder on with 0.6 and 1.2")


def _late_and_in_time_again(phone: Page, desk: Page, day: str) -> None:
    """Twenty minutes later by one tap, seen at the desk, and taken back."""
    before = phone.locator(".next .when-stop").text_content()
    _shift(phone, "+20 min", day)
    desk.goto(f"{day}/order")
    assert times(desk) == ["13:50", "14:20", "14:45", "16:35", "18:35"]
    phone.wait_for_timeout(450)  # the page has stood still
    phone.get_by_role("button", name="Undo").click()
    expect(phone.locator(".next .when-stop")).to_have_text(before)  # a redirection that is left under way has failed
    phone.wait_for_load_state()
    phone.goto(day)


def _tap_next(phone: Page) -> None:
    phone.wait_for_timeout(450)  # the page has stood still
    phone.locator(".next .go").click()


def _shift(phone: Page, by: str, day: str) -> None:
    before = phone.locator(".next .when-stop").text_content()
    phone.wait_for_timeout(450)
    phone.locator(".next").get_by_role("button", name=by).click()
    expect(phone.locator(".next .when-stop")).not_to_have_text(before)
    assert phone.url.endswith(day)


def test_stops_move_by_drag_and_by_keyboard(visit: Callable[..., Visit], new_day):
    """The times stay, the stops move; what is typed and not kept yet goes along."""
    day = new_day("Barn dance", *SPOTS)
    page = visit_desk(visit, new_day)
    brought(page, day)
    saved = names(page)
    page.locator("input[name=name_3]").fill("Confetti, twice")
    before = names(page)

    line = page.locator(".order > li")
    grip, target = line.nth(3).locator(".grip").bounding_box(), line.nth(1).bounding_box()
    page.mouse.move(grip["x"] + 8, grip["y"] + 8)
    page.mouse.down()
    page.mouse.move(grip["x"] + 8, target["y"] + target["height"] / 2, steps=6)
    page.mouse.up()
    expect(page.locator("#order-said")).to_contain_text("Moved")
    moved = [before[0], "Confetti, twice", before[1], before[2], before[4]]
    assert names(page) == moved
    assert times(page) == ["13:30", "14:00", "14:10", "16:00", "18:00"]

    page.locator("button[value='down:1']").focus()
    page.keyboard.press("Enter")
    expect(page.locator("input[name=name_2]")).to_have_value("Confetti, twice")
    expect(page.locator("button[value='down:2']")).to_be_focused()
    page.keyboard.press("Enter")
    expect(page.locator("input[name=name_3]")).to_have_value("Confetti, twice")
    page.locator("button[value='up:3']").focus()
    for line in (2, 1):
        page.keyboard.press("Enter")
        expect(page.locator(f"input[name=name_{line}]")).to_have_value("Confetti, twice")
        expect(page.locator(f"button[value='up:{line}']")).to_be_focused()
    assert names(page) == moved
    page.reload()
    assert names(page) == saved, "nothing was kept"


def test_a_drag_that_is_given_up_moves_nothing(visit: Callable[..., Visit], new_day):
    day = new_day("Barn dance", *SPOTS)
    page = visit_desk(visit, new_day)
    brought(page, day)
    before = names(page)
    grip = page.locator(".grip").nth(2).bounding_box()
    page.mouse.move(grip["x"] + 8, grip["y"] + 8)
    page.mouse.down()
    page.mouse.move(grip["x"] + 8, grip["y"] - 200, steps=4)
    page.keyboard.press("Escape")
    page.mouse.up()
    page.wait_for_timeout(300)
    assert names(page) == before
    assert page.locator("#order-said").text_content() == "Kept."


def visit_desk(visit: Callable[..., Visit], new_day) -> Page:
    """A desk at the server that new days are made on."""
    (served,) = new_day.args
    return visit(served, viewport=DESK).page


def test_a_finger_drags_a_stop(visit: Callable[..., Visit], new_day):
    """On glass the drag must not scroll the page away under it."""
    day = new_day("Barn dance", *SPOTS)
    (served,) = new_day.args
    page = visit(served, has_touch=True).page
    brought(page, day)
    before = names(page)
    page.locator(".order > li").nth(1).scroll_into_view_if_needed()
    grip = page.locator(".grip").nth(1).bounding_box()
    target = page.locator(".order > li").nth(0).bounding_box()
    touch = page.context.new_cdp_session(page)
    x, y = grip["x"] + 15, grip["y"] + 15

    def finger(kind: str, at: float | None) -> None:
        points = [] if at is None else [{"x": x, "y": at}]
        touch.send("Input.dispatchTouchEvent", {"type": kind, "touchPoints": points})

    finger("touchStart", y)
    for step in range(1, 6):
        finger("touchMove", y + (target["y"] + 40 - y) * step / 5)
    finger("touchEnd", None)
    expect(page.locator("#order-said")).to_contain_text("Moved")
    assert names(page) == [before[1], before[0], *before[2:]]


def test_a_clip_that_is_being_typed_outlives_the_minute_and_a_nudge(visit: Callable[..., Visit], new_day):
    """The page fetches itself again each minute, and the light may fall while somebody types."""
    day = new_day("Barn dance", *SPOTS)
    (served,) = new_day.args
    page = visit(served).page
    page.goto(day)
    page.locator(".rows .go").first.click()
    expect(page.locator("h1")).to_have_text("Lawn")
    page.locator(".clip summary").click()
    page.get_by_label("Clip or shot").fill("B007")
    page.get_by_label("Notes").fill("second take")
    with page.expect_response(lambda response: response.request.method == "GET"):
        page.evaluate("fetchAgain()")
    page.wait_for_timeout(300)
    page.locator("#fell").click()
    expect(page.locator("#said")).to_have_text("Light fell a third of a stop.")
    expect(page.get_by_label("Notes")).to_be_visible()
    expect(page.get_by_label("Notes")).to_have_value("second take")
    page.get_by_role("button", name="Note it").click()
    expect(page.locator("#said")).to_have_text("B007 noted.")
    expect(page.get_by_label("Notes")).to_be_hidden()
    expect(page.get_by_role("button", name="Note B008")).to_be_visible()
    page.locator(".clip summary").click()
    expect(page.get_by_label("Clip or shot")).to_have_value("B008")
    expect(page.get_by_label("Notes")).to_have_value("")


def test_a_refused_order_keeps_what_was_typed(visit: Callable[..., Visit], new_day):
    day = new_day("Barn dance", *SPOTS)
    (served,) = new_day.args
    visited = visit(served, viewport=DESK)
    page = visited.page
    brought(page, day)
    visited.trouble.expect("answered 422", "console: .*422")
    page.locator("input[name=at_1]").fill("25:00")
    page.locator("input[name=name_1]").fill("Confetti")
    page.get_by_role("button", name="Keep the order").click()
    expect(page.get_by_role("alert")).to_contain_text("Not kept yet")
    expect(page.locator("input[name=at_1]")).to_have_value("25:00")
    expect(page.locator("input[name=name_1]")).to_have_value("Confetti")
    expect(page.locator("#at_1-says")).to_contain_text("25:00 came")


def test_a_calendar_file_comes_in(visit: Callable[..., Visit], new_day):
    """What is written out as a calendar is read in again on another day of the same date."""
    first, second = new_day("Barn dance", *SPOTS), new_day("The same again", *SPOTS)
    (served,) = new_day.args
    visited = visit(served, viewport=DESK)
    page = visited.page
    brought(page, first)
    before = (names(page), times(page))
    visited.trouble.expect("request failed: GET .*order.ics")  # the browser's word for what it saves and does not show
    with page.expect_download() as download:
        page.get_by_role("link", name="As a calendar file").click()
    file = download.value.path()
    page.goto(f"{second}/order")
    page.get_by_label("Or a file, CSV or iCalendar").set_input_files(
        {"name": "order.ics", "mimeType": "text/calendar", "buffer": file.read_bytes()}
    )
    page.get_by_role("button", name="Look it through").click()
    assert (names(page), times(page)) == before


# Print.


def sheets(pdf: bytes) -> list[tuple[int, int]]:
    """The pages of a file that Chromium wrote, by their size in points."""
    boxes = re.findall(rb"/MediaBox\s*\[\s*0 0 ([\d.]+) ([\d.]+)\s*\]", pdf)
    assert len(boxes) == len(re.findall(rb"/Type\s*/Page\b(?!s)", pdf))
    return [(round(float(wide)), round(float(high))) for wide, high in boxes]


def printed(page: Page, path: str) -> list[tuple[int, int]]:
    page.goto(path)
    return sheets(page.pdf(prefer_css_page_size=True, print_background=True))


def near(sheet: tuple[int, int], size: tuple[int, int]) -> bool:
    return all(abs(one - other) <= 1 for one, other in zip(sheet, size, strict=True))


@pytest.mark.parametrize("stops", [6, 24])
def test_the_plan_is_one_a4_sheet_and_its_card_one_a6(visit: Callable[..., Visit], own_demo: Served, stops):
    """With the demo's glass, which is changed at most stops, and names as long as people write them."""
    page = visit(own_demo, viewport=DESK).page
    places = ("Orchard", "Chapel door", "Chapel inside", "Jetty", "Walled garden", "Boathouse", "Long room")
    happens = ("guests arrive", "the couple walk in", "signing the register", "group photographs", "speeches")
    lines = "\n".join(
        f"{8 + n // 2:02}:{n % 2 * 30:02}-{8 + n // 2:02}:{n % 2 * 30 + 20:02} {places[n * 3 % 7]}: {happens[n % 5]}"
        for n in range(stops)
    )
    page.goto("/days/1/order")
    page.get_by_label("goes").check()
    page.get_by_label("Paste it, a stop a line").fill(lines)
    page.get_by_role("button", name="Look it through").click()
    page.get_by_role("button", name="Keep the order").click()
    (plan,) = printed(page, "/days/1/plan?whole=1")
    assert near(plan, A4)
    (card,) = printed(page, "/days/1/card?whole=1")
    assert near(card, A6)
    for path in ("/days/1/plan?whole=1", "/days/1/card?whole=1"):
        page.goto(path)
        page.emulate_media(media="print")
        wide = page.evaluate("document.documentElement.scrollWidth - document.documentElement.clientWidth")
        assert wide <= 0, "nothing is cut off at the edge"
        page.emulate_media(media="screen")
    (report,) = printed(page, "/days/1/report")
    assert near(report, A4[::-1])
