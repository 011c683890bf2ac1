"""Every page, and every form that was refused: legible, reachable by a thumb, nothing cut off, at every size."""

from __future__ import annotations

import re
from typing import TYPE_CHECKING, Any

import pytest
from axe_playwright_python.sync_playwright import Axe
from playwright.sync_api import expect

from .conftest import Spot

if TYPE_CHECKING:
    from collections.abc import Callable

    from playwright.sync_api import Locator, Page

    from .conftest import Served, Visit

# Small phone, the narrowest that WCAG 1.4.10 asks for, desk, phone on its side. CSS px.
SIZES = ((360, 740), (320, 640), (1280, 900), (844, 390))
TALL = {"width": 390, "height": 8000}  # so that nothing lies behind the bar, where its contrast cannot be told
WCAG = {"type": "tag", "values": ["wcag2a", "wcag2aa", "wcag21a", "wcag21aa", "wcag22aa", "wcag2aaa"]}  # aaa for 7:1
CONTRAST = {"type": "rule", "values": ["color-contrast", "color-contrast-enhanced"]}
RULES = {"light": WCAG, "dark": CONTRAST}  # a scheme changes nothing but colours
SEEN_REFUSED = "kit addition refused"
THUMB, FINGER, ANSWER = 48, 44, 20  # CSS px: targets on the day page, targets elsewhere, an answer's letters

UNREAD = [Spot("Lawn with a long name, down by the water", 15), Spot("Porch", 12), Spot("Crypt", None, "lamps")]
DEPTH = "format=full_frame&focal=50&aperture=2.8&distance=3&second_format=super_16"
SAME_WALL = {"without_aperture": "4", "without_shutter": "1/50", "without_iso": "100", "with_aperture": "1.4",
             "with_shutter": "1/50", "with_iso": "100"}  # fmt: skip
STATES: dict[str, Callable[[Visit, Callable[..., str]], None]] = {}


def state(make: Callable[[Visit, Callable[..., str]], None]) -> Callable[[Visit, Callable[..., str]], None]:
    """One thing that a page can look like; the test's name is the function's."""
    STATES[make.__name__.strip("_").replace("_", " ")] = make
    return make


PLAIN: set[str] = set()  # pages that are looked at as they come


def at(name: str, path: str) -> None:
    PLAIN.add(name)
    STATES[name] = lambda visited, _new_day: visited.page.goto(path)


def refused(visited: Visit, form: Locator, **typed: str) -> None:
    """Send a form that the server will refuse, past the browser's own checks."""
    visited.trouble.expect("answered 422", "console: .*422")
    form.evaluate("form => { form.noValidate = true }")
    for name, value in typed.items():
        form.locator(f"[name={name}]").first.fill(value)
    form.locator("button").first.click()
    expect(visited.page.get_by_role("alert").filter(has_text="Not kept")).to_be_visible()


at("home", "/")
at("on this phone", "/phone")
at("venue", "/venues/1")
at("kit", "/kits/1")
at("day", "/days/1")
at("setup", "/days/1/setup")
at("rig", "/days/1/rig")
at("meter", "/days/1/places/1/reading")
at("new venue", "/venues/new")
at("new kit", "/kits/new")
at("new day", "/days/new")
at("reference", "/api")
at("about", "/about")
at("language and units", "/manner")
at("the first day", "/start")
at("measure a filter", "/kits/1/filters/1/measure")
at("measure a lens", "/kits/1/lenses/1/measure")
at("depth of field", "/kits/1/depth")
at("depth of field answered", f"/kits/1/depth?{DEPTH}&second_focal=25&second_distance=4")
at("depth of field that no lens reaches", f"/kits/1/depth?{DEPTH.replace('=2.8', '=1')}&second_focal=&second_distance=")
at("other ways", "/days/1/places/2/ways")
at("bag", "/days/1/bag")
at("grad", "/days/1/places/1/grad")
at("light of a day", "/days/1/light")
at("light of a place", "/days/1/places/4/light")
at("light of a venue", "/venues/1/light?kit=1&on=2026-06-20")
at("light under lamps", "/venues/1/places/8/light?kit=1")
at("light in a polar night", "/venues/1/places/1/light?on=2026-12-21")
at("running order", "/days/1/order")
at("plan", "/days/1/plan")
at("plan of the whole day", "/days/1/plan?whole=1")
at("card", "/days/1/card")
at("take", "/days/1/take")
at("report", "/days/1/report")
at("sheet", "/days/1/sheet")
at("bring in a sheet", "/sheets/new")
at("crew", "/crew")
at("a camera of one’s own, at the demo’s machine", "/days/1/camera")
at("join", "/join")
at("pair", "/pair")
at("crew data", "/crew/data")
at("removing a day", "/days/1/removal")
at("removing a venue", "/venues/1/removal")
at("removing a kit that is in use", "/kits/1/removal")


@state
def an_invite(visited, _new_day):
    page = visited.page
    page.goto("/crew")
    page.get_by_role("button", name="Make an invite").click()
    expect(page.get_by_role("heading", level=1)).to_have_text("Invite second shooter")


@state
def a_link_to_a_sheet(visited, _new_day):
    page = visited.page
    page.goto("/days/1/sheet")
    page.get_by_label("Who is it for?").fill("the planner of the hall")
    page.get_by_role("button", name="Make a link").click()
    expect(page.get_by_role("heading", level=1)).to_have_text("Link for the planner of the hall")


@state
def a_sheet_read_by_its_link(visited, _new_day):
    a_link_to_a_sheet(visited, _new_day)
    visited.page.goto(visited.page.get_by_label("The link", exact=True).input_value())
    expect(visited.page.locator(".sheet")).to_have_count(2)


@state
def a_sheet_with_links(visited, _new_day):
    a_link_to_a_sheet(visited, _new_day)
    visited.page.goto("/days/1/sheet")
    expect(visited.page.locator("#links")).to_contain_text("not opened yet")


@state
def a_sheet_that_is_none(visited, _new_day):
    page = visited.page
    visited.trouble.expect("answered 422", "console: .*422")
    page.goto("/sheets/new")
    page.get_by_label("Or its text").fill("{}")
    page.get_by_role("button", name="Bring it in").click()
    expect(page.get_by_role("alert")).to_be_visible()


@state
def what_an_invite_offers(visited, _new_day):
    an_invite(visited, _new_day)
    visited.page.goto(visited.page.get_by_label("The link", exact=True).input_value())
    expect(visited.page.get_by_role("button", name="Join")).to_be_visible()


@state
def a_crew_that_somebody_joined(visited, _new_day):
    what_an_invite_offers(visited, _new_day)
    visited.page.get_by_label("Your name").fill("Cem of the second camera, who goes by a long name")
    visited.page.get_by_role("button", name="Join").click()
    expect(visited.page.get_by_role("heading", level=1)).to_have_text("Days")
    visited.page.wait_for_load_state()
    visited.context.clear_cookies()  # and so the lead of this machine again
    visited.page.goto("/crew")
    expect(visited.page.get_by_text("Cem of the second camera").first).to_be_visible()


@state
def the_second_camera(visited, _new_day):
    """The demo's second shooter, on their own phone."""
    page = visited.page
    page.goto("/crew")
    person = page.get_by_role("listitem").filter(has=page.get_by_text("Second shooter", exact=True))
    person.get_by_text("Role, another phone, or out").click()
    page.get_by_role("button", name="Invite Second shooter again").click()
    page.goto(page.get_by_label("The link", exact=True).input_value())
    page.get_by_role("button", name="Join").click()
    expect(page.get_by_role("heading", level=1)).to_have_text("Days")
    page.wait_for_load_state()
    page.goto("/days/1")
    expect(page.get_by_text("same field at").first).to_be_visible()


@state
def the_second_camera_set_up(visited, new_day):
    the_second_camera(visited, new_day)
    visited.page.get_by_role("link", name="My camera").click()
    expect(visited.page.get_by_role("button", name="Film with it")).to_be_visible()


@state
def crew_data_refused(visited, _new_day):
    page = visited.page
    page.goto("/crew/data")
    visited.trouble.expect("answered 422", "console: .*422")
    page.get_by_label("Type the crew’s name").fill("Not this one")
    page.get_by_role("button", name="Delete everything").click()
    expect(page.get_by_role("alert")).to_contain_text("Nothing was deleted")
    expect(page.get_by_label("Type the crew’s name")).to_have_value("Not this one")


@state
def a_kit_to_remove(visited, _new_day):
    page = visited.page
    page.goto("/kits/new")
    page.get_by_label("Name").fill("Spare")
    page.get_by_role("button", name="Make the kit").click()
    page.get_by_role("link", name="Remove this kit").click()
    expect(page.get_by_role("button", name="Remove this kit")).to_be_visible()


@state
def a_place_that_somebody_else_changed(visited, new_day):
    page = visited.page
    page.goto(new_day("Two at once", Spot("Lawn", 14)))
    page.get_by_role("link", name="Set up the day").click()
    page.get_by_label("Name", exact=True).fill("Mine")
    form = page.locator("main form").first
    form.evaluate("form => { form.elements.seen.value = 'of another time' }")
    visited.trouble.expect("answered 409", "console: .*409")
    form.get_by_role("button", name="Keep, and open the day").click()
    expect(page.get_by_text("Now: Two at once")).to_be_visible()


@state
def a_guest_on_the_day(visited, new_day):
    page = visited.page
    address = new_day("Read only", Spot("Lawn", 14), Spot("Chapel", 6, "lamps"))
    page.goto("/crew")
    page.get_by_label("Somebody comes as").select_option("guest")
    page.get_by_role("button", name="Make an invite").click()
    page.goto(page.get_by_label("The link", exact=True).input_value())
    page.get_by_label("Your name").fill("Ada")
    page.get_by_role("button", name="Join").click()
    expect(page.get_by_role("heading", level=1)).to_have_text("Days")
    page.wait_for_load_state()
    page.goto(address)
    expect(page.get_by_text("Chapel").first).to_be_visible()
    assert page.locator("main button:not(#awake), .bar").count() == 0


@state
def not_there(visited, _new_day):
    visited.trouble.expect("answered 404", "console: .*404")
    visited.page.goto("/venues/999")


@state
def order_refused(visited, _new_day):
    page = visited.page
    page.goto("/days/1/order")
    visited.trouble.expect("answered 422", "console: .*422")
    page.get_by_text("Look, lens, notes").first.click()
    page.locator("[name=at_0]").fill("25:00")
    page.locator("[name=wanted_0]").fill("wide")
    page.get_by_role("button", name="Keep the order").click()
    expect(page.get_by_role("alert")).to_contain_text("Not kept yet")


@state
def order_brought_in(visited, _new_day):
    page = visited.page
    page.goto("/days/1/order")
    page.get_by_label("Paste it, a stop a line").fill(
        "13:30-14:30 Barn: the cows come home\n13:50 Jetty\n00:30 Jetty: sparklers"
    )
    page.get_by_label("goes").check()
    page.get_by_role("button", name="Look it through").click()
    expect(page.get_by_text("next morning")).to_be_visible()


@state
def order_that_cannot_be_read(visited, _new_day):
    page = visited.page
    page.goto("/days/1/order")
    visited.trouble.expect("answered 422", "console: .*422")
    page.get_by_label("Paste it, a stop a line").fill("hello")
    page.get_by_role("button", name="Look it through").click()
    expect(page.get_by_role("alert")).to_contain_text("Nothing was brought in")


@state
def plan_without_an_order(visited, new_day):
    visited.page.goto(new_day("Fete", *UNREAD) + "/plan")


@state
def day_with_its_clips_open(visited, _new_day):
    visited.page.goto("/days/1")
    visited.page.locator(".clip summary").click()


@state
def report_with_a_lesson(visited, new_day):
    page = visited.page
    page.goto(new_day("Fete", Spot("Hall", 8, "lamps"), *UNREAD))
    page.locator(".rows .go").first.click()
    for _ in range(3):
        page.locator("#fell").click()
    expect(page.locator(".here-now")).to_be_visible()
    page.locator("#clip").click()
    expect(page.locator("#said")).to_have_text("Clip 1 noted.")
    page.get_by_role("link", name="Camera report").click()
    expect(page.get_by_role("button", name="Keep as a reading")).to_be_visible()


@state
def day_before_the_first_tap(visited, new_day):
    visited.page.goto(new_day("A wedding in June", *UNREAD))


@state
def day_where_nothing_was_read(visited, new_day):
    page = visited.page
    page.goto(new_day("Fete", *UNREAD))
    page.locator(".rows .go").first.click()
    expect(page.locator("h1")).to_contain_text("Lawn")
    for _ in range(2):
        page.locator("#fell").click()
    expect(page.locator(".here-now")).to_be_visible()


@state
def day_with_a_tap_not_sent(visited, _new_day):
    visited.trouble.expect("request failed: POST", "console: .*ERR_FAILED")
    visited.page.goto("/days/1")
    visited.page.route("**/nudges", lambda route: route.abort())
    visited.page.locator("#fell").click()
    expect(visited.page.locator("#away")).to_contain_text("1 tap kept")


@state
def day_from_the_pocket(visited, new_day):
    """Two taps that wait, and one that the server has refused since."""
    page = visited.page
    visited.trouble.expect("request failed: POST", "console: .*ERR_FAILED")
    page.goto(new_day("Fete", *UNREAD))
    expect(page.locator("#away")).to_have_attribute("data-pocket", re.compile("."))
    page.route("**/moves", lambda route: route.abort())
    page.locator(".rows .go").first.click()
    expect(page.locator("h1")).to_contain_text("Lawn")
    page.wait_for_timeout(500)
    page.locator("#fell").click()
    expect(page.locator("#away")).to_contain_text("2 taps kept")
    page.evaluate("""async () => {
      const { entry, storing } = outbox.put("/days/1", "/days/1/nudges", [["place", "1"], ["clicks", "3"]]);
      await storing;
      entry.refused = "Not kept: clicks must be 1 or -1.";
      document.dispatchEvent(new CustomEvent("outbox:changed"));
    }""")
    expect(page.get_by_role("button", name="Let it go")).to_be_visible()


@state
def day_refused(visited, new_day):
    page = visited.page
    page.goto(new_day("Fete", *UNREAD))
    page.locator(".rows .go").first.evaluate("button => { button.value = 'not what the page gave' }")
    refused(visited, page.locator(".rows form").first)


@state
def day_with_a_nudge_to_share(visited, new_day):
    visited.page.goto(new_day("Fete", Spot("Lawn", 14), *UNREAD))
    visited.page.locator(".rows .go").first.click()
    visited.page.locator("#fell").click()
    expect(visited.page.locator("#offer")).to_be_visible()


@state
def day_under_another_sky(visited, new_day):
    visited.page.goto(new_day("Fete", Spot("Lawn", 14), *UNREAD))
    visited.page.locator(".sky summary").click()
    visited.page.locator("#sky-overcast").click()
    expect(visited.page.locator(".sky summary")).to_have_text("Sky: overcast")
    visited.page.locator(".sky summary").click()


@state
def day_ahead(visited, _new_day):
    page = visited.page
    page.goto("/days/new")
    page.get_by_label("Name").fill("A day ahead")
    page.get_by_label("Date").fill("2029-06-20")
    page.get_by_role("button").last.click()
    page.get_by_role("button", name="Keep, and open the day").click()
    expect(page.locator(".hour")).to_contain_text("The light as it will be on 20 Jun")


@state
def meter_by_photo(visited, _new_day):
    visited.page.goto("/days/1/places/1/reading")
    visited.page.get_by_role("radio", name="Photo").check()
    visited.page.get_by_text("Other part, or other time").locator("visible=true").click()


@state
def photo_refused(visited, _new_day):
    page = visited.page
    page.goto("/days/1/places/1/reading")
    page.get_by_role("radio", name="Photo").check()
    visited.trouble.expect("answered 422", "console: .*422")
    page.locator("form.by-photo [name=file]").set_input_files(
        {"name": "holiday.jpg", "mimeType": "image/jpeg", "buffer": b"not a photo"}
    )
    page.locator("form.by-photo").get_by_role("button", name="Log reading").click()
    expect(page.get_by_role("alert").filter(has_text="Not kept")).to_be_visible()


@state
def meter_at_an_hour_that_came_twice(visited, _new_day):
    page = visited.page
    page.goto("/venues/new")
    page.get_by_label("Name").fill("Clock house")
    page.get_by_label("Time zone").fill("Europe/London")
    page.get_by_role("button", name="Make the venue").click()
    page.get_by_label("Name").first.fill("Yard")
    page.get_by_role("button", name="Add place").click()
    form = page.locator("form.by-ev")
    form.get_by_text("Other part, or other time").click()
    form.locator("[name=taken]").fill("2026-10-25T01:30")
    visited.trouble.expect("answered 422", "console: .*422")
    form.locator("[name=value]").fill("12")
    form.get_by_role("button", name="Log reading").click()
    expect(page.get_by_text("Which one of the two?")).to_be_visible()


@state
def place_that_is_lit_by_many_things(visited, _new_day):
    visited.page.goto("/venues/1")
    visited.page.locator("#place-3").get_by_text("Name, and what lights it").click()
    visited.page.locator("#place-4").get_by_text("Name, and what lights it").click()


@state
def meter_by_lux(visited, _new_day):
    visited.page.goto("/days/1/places/1/reading")
    visited.page.get_by_role("radio", name="Lux").check()


@state
def meter_by_camera_refused(visited, _new_day):
    visited.page.goto("/days/1/places/1/reading")
    visited.page.get_by_role("radio", name="Camera").check()
    refused(visited, visited.page.locator("form.by-camera"), aperture="wide", shutter="1/0", iso="")


@state
def meter_out_of_range(visited, _new_day):
    visited.page.goto("/days/1/places/1/reading")
    visited.page.get_by_role("radio", name="EV").check()
    refused(visited, visited.page.locator("form.by-ev"), value="99")


@state
def new_venue_refused(visited, _new_day):
    visited.page.goto("/venues/new")
    refused(visited, visited.page.locator("main form"), name="", latitude="95", time_zone="Nowhere")


@state
def new_kit_refused(visited, _new_day):
    visited.page.goto("/kits/new")
    refused(visited, visited.page.locator("form[action='/kits']"), name="n" * 81)


@state
def new_day_refused(visited, _new_day):
    visited.page.goto("/days/new")
    refused(visited, visited.page.locator("main form"), name="", on="")


@state
def venue_reading_refused(visited, _new_day):
    page = visited.page
    page.goto("/venues/1")
    opened(page)
    place = page.locator("#place-1")
    place.get_by_role("radio", name="Camera").check()
    refused(visited, place.locator("form.by-camera"), aperture="f/0", shutter="soon", iso="fast")


@state
def venue_place_refused(visited, _new_day):
    visited.page.goto("/venues/1")
    refused(visited, visited.page.locator("form[action$='/places']"), name="")


@state
def venue_changes_refused(visited, _new_day):
    visited.page.goto("/venues/1")
    opened(visited.page)
    refused(visited, visited.page.locator("form[action='/venues/1']"), latitude="51", longitude="")


@state
def kit_addition_refused(visited, _new_day):
    visited.page.goto("/kits/1")
    opened(visited.page)
    adding = visited.page.locator("form[action$='/bodies']")
    refused(visited, adding, name="", iso_base="slow", iso_allowed="6400-100", shutters="fast", built_in_nd="x")


@state
def kit_change_refused(visited, _new_day):
    visited.page.goto("/kits/1")
    opened(visited.page)
    refused(visited, visited.page.locator("form[action*='/filters/']").first, engraved="9", width="1")


@state
def kit_glass_refused(visited, _new_day):
    visited.page.goto("/kits/1")
    opened(visited.page)
    refused(visited, visited.page.locator("form[action$='/filters']"), name="New one", engraved="ND 6")


@state
def kit_rings_refused(visited, _new_day):
    visited.page.goto("/kits/1")
    refused(visited, visited.page.locator("form[action$='/rings']"), step_ups="82-77")


@state
def kit_hands_refused(visited, _new_day):
    visited.page.goto("/kits/1")
    opened(visited.page)
    refused(visited, visited.page.locator("form[action$='/hands']"), pull="slow", turn="-1")


@state
def measured_filter(visited, _new_day):
    page = visited.page
    page.goto("/kits/1/filters/1/measure")
    for name, value in SAME_WALL.items():
        page.locator(f"[name={name}]").fill(value)
    page.get_by_role("button", name="Work it out").click()
    expect(page.locator("#outcome")).to_contain_text("3.00 stops")


@state
def measure_refused(visited, _new_day):
    visited.page.goto("/kits/1/filters/1/measure")
    typed = SAME_WALL | {"with_aperture": "wide", "without_shutter": "1/0"}
    refused(visited, visited.page.locator("main form"), **typed)


@state
def measure_with_more_light_through_the_glass(visited, _new_day):
    visited.page.goto("/kits/1/filters/1/measure")
    refused(visited, visited.page.locator("main form"), **SAME_WALL | {"with_aperture": "16"})


@state
def depth_refused(visited, _new_day):
    visited.trouble.expect("answered 422", "console: .*422")
    visited.page.goto("/kits/1/depth?focal=wide&aperture=&distance=0&second_focal=x")
    expect(visited.page.get_by_role("alert")).to_be_visible()


@state
def day_with_another_lens(visited, new_day):
    page = visited.page
    page.goto(new_day("Fete", *UNREAD))
    page.locator(".lenses button").first.click()
    expect(page.locator("#said")).to_contain_text("Lens changed")


def set_up(page: Page, address: str, **chosen: str) -> None:
    """The polariser stays on at the first place, and this is chosen for the camera."""
    page.goto(f"{address}/setup")
    opened(page)
    for name, label in chosen.items():
        page.locator(f"select[name={name}]").select_option(label=label)
    page.locator("fieldset.worn").first.get_by_label("Polariser").check()
    page.get_by_role("button", name="Keep, and open the day").click()


@state
def day_with_dark_corners(visited, new_day):
    """Two plates and a polariser on a 24 mm lens."""
    set_up(visited.page, new_day("Snow", Spot("Glacier", 17), *UNREAD), lens="24-70 zoom")
    expect(visited.page.locator(".mind").first).to_contain_text("Look at the corners")
    visited.page.locator(".rows .go").first.click()
    expect(visited.page.locator(".rig .caution").first).to_contain_text("Look at the corners")


@state
def day_with_a_look_that_cannot_be_worn(visited, new_day):
    set_up(visited.page, new_day("Fete", *UNREAD), holder="none")
    expect(visited.page.locator(".rows .short").first).to_contain_text("no holder")


@state
def bag_that_falls_short(visited, new_day):
    visited.page.goto(new_day("Snow", Spot("Glacier", 28), *UNREAD) + "/bag")
    expect(visited.page.locator("#short")).to_contain_text("Glacier")


@state
def ways_without_a_reading(visited, new_day):
    page = visited.page
    page.goto(new_day("Fete", *UNREAD))
    page.get_by_role("link", name="Other ways").click()
    page.get_by_role("link", name="Crypt").click()
    expect(page.locator(".notice")).to_contain_text("no reading yet")


@state
def grad_advised(visited, _new_day):
    page = visited.page
    page.goto("/days/1/places/1/grad")
    page.get_by_label("Sky, EV").fill("17")
    page.get_by_label("Ground, EV").fill("14")
    page.get_by_role("button", name="Which grad?").click()
    expect(page.locator("#advice")).to_be_visible()


@state
def grad_refused(visited, _new_day):
    visited.page.goto("/days/1/places/1/grad")
    refused(visited, visited.page.locator("main form"), sky="blue", ground="", wanted="99")


@state
def setup_refused(visited, _new_day):
    visited.page.goto("/days/1/setup")
    opened(visited.page)
    refused(visited, visited.page.locator("main form"), wanted_1="1", position_2="first", tolerance="2")


@state
def rig_refused(visited, _new_day):
    page = visited.page
    page.goto("/days/1/rig")
    for slot in ("Slot 1", "Slot 2"):
        page.get_by_label(slot).select_option(label="0.6")
    refused(visited, page.locator("main form"))


@state
def the_first_day_refused(visited, _new_day):
    visited.page.goto("/start")
    refused(visited, visited.page.locator("main form"), name="", ev_1="bright")


def opened(page: Page) -> None:
    """Unfold everything: what is folded away has to fit as well. A form's answer may still wait for its stylesheet."""
    page.wait_for_load_state()
    page.locator("details").evaluate_all("all => { for (const each of all) each.open = true }")


LAYOUT = """([day, smallest, answer]) => {
  const wrong = [], wide = document.documentElement.clientWidth, seen = (e) => e.checkVisibility() && e.getClientRects().length;
  const name = (e) => `${e.tagName.toLowerCase()}${e.id ? "#" + e.id : ""} "${(e.innerText ?? e.value ?? "").trim().slice(0, 30)}"`;
  const scrolls = (e) => e && (/auto|scroll/.test(getComputedStyle(e).overflowX) || scrolls(e.parentElement));
  const head = (e) => e.closest("thead");
  const unseen = (e) => e.closest(".unseen") || head(e) && getComputedStyle(head(e)).clipPath !== "none";
  if (document.documentElement.scrollWidth > wide) wrong.push(`the page is ${document.documentElement.scrollWidth} wide`);
  for (const e of document.body.querySelectorAll("*")) {
    const box = e.getBoundingClientRect();
    if (seen(e) && !unseen(e) && (box.right > wide + .5 || box.left < -.5) && !scrolls(e)) wrong.push(`${name(e)} sticks out`);
  }
  const words = (node) => node.nodeType === 3 && node.data.trim();
  for (const e of document.querySelectorAll("a[href], button, input:not([type=hidden]), select, textarea, summary")) {
    if (!seen(e)) continue;
    const boxed = /checkbox|radio/.test(e.type) ? e.closest("label") ?? document.querySelector(`label[for="${e.id}"]`) : e;
    const inText = e.tagName === "A" && getComputedStyle(e).display === "inline" && [...e.parentNode.childNodes].some(words);
    if (/BUTTON|^A$/.test(e.tagName) && e.scrollWidth > e.clientWidth + 1) wrong.push(`${name(e)} has words that stick out`);
    const { width, height } = boxed.getBoundingClientRect();
    if (!inText && Math.min(width, height) < smallest - .01) wrong.push(`${name(boxed)} is ${width.toFixed(1)} x ${height.toFixed(1)}`);
  }
  if (!day) return wrong;
  for (const e of document.querySelectorAll(":is(.answer, .rush), :is(.answer, .rush) *")) {
    const size = parseFloat(getComputedStyle(e).fontSize);
    if ([...e.childNodes].some(words) && size < answer) wrong.push(`${name(e)} is written ${size} px tall`);
  }
  if (!document.querySelector(".bar")) return wrong; // who only reads has none
  scrollTo(0, document.documentElement.scrollHeight);
  const bar = document.querySelector(".bar").getBoundingClientRect();
  for (const e of document.querySelectorAll("main *")) {
    const bottom = e.getBoundingClientRect().bottom;
    if (seen(e) && bottom > bar.top + .5) wrong.push(`${name(e)} is ${(bottom - bar.top).toFixed(1)} behind the bar`);
  }
  scrollTo(0, 0);
  return wrong;
}"""


def broken_rules(page: Page, rules: dict[str, Any]) -> list[str]:
    """What axe finds, a line each."""
    found = page.evaluate("only => axe.run({ runOnly: only, resultTypes: ['violations'] })", rules)["violations"]
    return [f"{rule['id']}: {node['target']} {node['failureSummary']}" for rule in found for node in rule["nodes"]]


@pytest.mark.parametrize("name", STATES)
def test_a_page_is_legible_and_in_reach(name, visit: Callable[..., Visit], demo: Served, new_day: Callable[..., str]):
    """Nothing wider than the screen, no target too small, no rule of WCAG 2.2 AA broken, contrast of 7:1, in print."""
    visited = visit(demo)
    page = visited.page
    STATES[name](visited, new_day)
    opened(page)
    day = page.locator("body.day").count() == 1
    wrong: dict[str, list[str]] = {}
    for width, height in SIZES:
        page.set_viewport_size({"width": width, "height": height})
        wrong[f"{width} x {height}"] = page.evaluate(LAYOUT, [day, THUMB if day else FINGER, ANSWER])
    page.set_viewport_size(TALL)
    page.evaluate(Axe().axe_script)
    for scheme, rules in RULES.items():
        if scheme == "dark" and not (name in PLAIN or name.startswith("day") or name == SEEN_REFUSED):
            continue  # a word beside a field, and what stands between, look alike on every page
        page.emulate_media(color_scheme=scheme)
        wrong[scheme] = broken_rules(page, rules)
    assert not {where: what for where, what in wrong.items() if what}


GERMAN = (
    "/", "/phone", "/about", "/manner", "/start", "/venues/1", "/venues/new", "/kits/1", "/kits/new", "/kits/1/depth?" + DEPTH,
    "/kits/1/filters/1/measure", "/days/1", "/days/new", "/days/1/setup", "/days/1/rig", "/days/1/places/1/reading",
    "/days/1/places/2/ways", "/days/1/bag", "/days/1/places/1/grad", "/days/1/light", "/days/1/places/4/light", "/days/1/order",
    "/days/1/plan", "/days/1/card", "/days/1/take", "/days/1/report", "/days/1/sheet", "/days/1/camera", "/sheets/new", "/crew",
    "/crew/data", "/join", "/pair", "/days/1/removal", "/venues/1/removal",
)  # fmt: skip


@pytest.mark.parametrize("path", GERMAN)
def test_longer_words_have_room(path, visit: Callable[..., Visit], demo: Served):
    """German, by the clock of 12 hours: nothing wider than the screen, no target too small, no word that sticks out."""
    visited = visit(demo, locale="de-DE")
    visited.context.add_cookies([{"name": "manner", "value": "de.feet.twelve", "url": demo.url}])
    page = visited.page
    page.goto(path)
    assert page.locator("html").get_attribute("lang") == "de"
    opened(page)
    day = page.locator("body.day").count() == 1
    wrong: dict[str, list[str]] = {}
    for width, height in ((320, 640), (390, 844), (1280, 900)):
        page.set_viewport_size({"width": width, "height": height})
        wrong[f"{width} x {height}"] = page.evaluate(LAYOUT, [day, THUMB if day else FINGER, ANSWER])
    assert not {where: what for where, what in wrong.items() if what}


@pytest.mark.parametrize(
    "path", ["/", "/days/1", "/days/1/plan", "/days/1/sheet", "/venues/1", "/kits/1", "/days/1/order", "/start"]
)
def test_text_of_twice_the_size_is_all_there(path, page):
    """WCAG 2.2, 1.4.4: letters of 200 %, as the browser's own setting has them, on a tablet's width, lose nothing."""
    page.set_viewport_size({"width": 820, "height": 1180})
    page.context.new_cdp_session(page).send("Page.setFontSizes", {"fontSizes": {"standard": 32, "fixed": 26}})
    page.goto(path)
    assert page.evaluate("getComputedStyle(document.documentElement).fontSize") == "32px"
    opened(page)
    day = page.locator("body.day").count() == 1
    assert page.evaluate(LAYOUT, [False, THUMB if day else FINGER, ANSWER]) == []


ANSWERS = {
    "/days/1": ".next .glass, .next .turn", "/days/1/places/2/ways": ".ways .glass", "/days/1/plan": ".answer-said",
    "/days/1/take": ".answer-said", "/days/1/places/4/light": ".answer-said",
}  # fmt: skip
LARGEST = """(answers) => {
  const size = (e) => parseFloat(getComputedStyle(e).fontSize), seen = (e) => e.checkVisibility() && !e.closest("svg");
  const words = (e) => [...e.childNodes].some((node) => node.nodeType === 3 && node.data.trim());
  const all = [...document.querySelectorAll("body *")].filter((e) => seen(e) && words(e));
  const largest = Math.max(...all.filter((e) => !e.closest(answers)).map(size));
  return [Math.max(...[...document.querySelectorAll(answers)].map(size)), largest];
}"""


@pytest.mark.parametrize("path", ANSWERS)
def test_the_answer_is_the_largest_thing(path, page):
    page.goto(path)
    answer, largest = page.evaluate(LARGEST, ANSWERS[path])
    assert answer > largest


def test_the_day_in_print_is_its_answers(page):
    """On paper there is nothing to press: the bar and the trail go, the answers stay."""
    page.goto("/days/1")
    expect(page.locator(".bar")).to_be_visible()
    page.emulate_media(media="print")
    expect(page.locator(".bar")).to_be_hidden()
    expect(page.locator("h1")).to_be_visible()
    for answer in page.locator(".rows .answer").all():
        expect(answer).to_be_visible()
    page.goto("/venues/1")
    expect(page.locator("nav")).to_be_hidden()
    expect(page.get_by_role("button")).to_have_count(0)
