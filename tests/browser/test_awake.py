"""The screen stays on while the day page is open, if that is wanted, and the button says how it really is."""

from __future__ import annotations

from playwright.sync_api import expect

HIDE = """(how) => {
    Object.defineProperty(document, "visibilityState", { value: how, configurable: true });
    document.dispatchEvent(new Event("visibilitychange"));
}"""
# What a browser does of its own when a page is hidden, and what it does when its battery is low.
WATCH = """
    window.locks = [];
    const request = WakeLock.prototype.request;
    WakeLock.prototype.request = async function (kind) {
        if (window.low) throw new DOMException("low", "NotAllowedError");
        const lock = await request.call(this, kind);
        window.locks.push(lock);
        return lock;
    };
"""
HELD = "locks.filter((lock) => !lock.released).length"


def test_the_screen_is_kept_on_over_swaps_hiding_and_the_next_visit(visit, demo):
    page = visit(demo).page
    page.add_init_script(WATCH)
    page.goto("/days/1", wait_until="networkidle")
    button = page.get_by_role("button", name="Keep the screen on")
    expect(button).to_have_attribute("aria-pressed", "false")
    assert page.evaluate(HELD) == 0
    button.click()
    expect(button).to_have_attribute("aria-pressed", "true")
    assert page.evaluate(HELD) == 1
    page.evaluate("fetchAgain()")
    page.wait_for_load_state("networkidle")
    expect(button).to_have_attribute("aria-pressed", "true")
    page.evaluate("locks.at(-1).release()")
    expect(button).to_have_attribute("aria-pressed", "false")
    page.evaluate(HIDE, "hidden")
    assert page.evaluate(HELD) == 0
    page.evaluate(HIDE, "visible")
    expect(button).to_have_attribute("aria-pressed", "true")
    assert page.evaluate(HELD) == 1
    page.reload(wait_until="networkidle")
    expect(button).to_have_attribute("aria-pressed", "true")
    button.click()
    expect(button).to_have_attribute("aria-pressed", "false")
    page.reload(wait_until="networkidle")
    expect(button).to_have_attribute("aria-pressed", "false")
    assert page.evaluate("locks.length") == 0


def test_on_can_be_seen_and_not_only_heard(visit, demo):
    """The look of a button that is quiet must not hide that it is pressed; nor is it told by colour alone."""
    page = visit(demo).page
    page.goto("/days/1", wait_until="networkidle")
    button = page.get_by_role("button", name="Keep the screen on")
    looks = []
    for pressed in ("false", "true"):
        expect(button).to_have_attribute("aria-pressed", pressed)
        looks.append(button.evaluate("its => [getComputedStyle(its).borderWidth, getComputedStyle(its).fontWeight]"))
        button.click()
    assert looks == [["1px", "400"], ["3px", "750"]]


def test_a_phone_that_will_not_says_so(visit, demo):
    page = visit(demo).page
    page.add_init_script(WATCH)
    page.goto("/days/1", wait_until="networkidle")
    page.evaluate("window.low = true")
    button = page.get_by_role("button", name="Keep the screen on")
    button.click()
    expect(page.locator("#signal")).to_contain_text("does not keep its screen on")
    expect(button).to_have_attribute("aria-pressed", "false")


def test_where_there_is_no_such_thing_there_is_no_button(visit, demo):
    page = visit(demo).page
    page.add_init_script("delete Navigator.prototype.wakeLock")
    page.goto("/days/1", wait_until="networkidle")
    expect(page.locator("#awake")).to_be_hidden()
