"""
What a screen reader is given: names, roles, order and live regions, asked of the browser's own accessibility tree
(Chrome DevTools Protocol, Accessibility.getFullAXTree), on the day page, the plan and the pages that answer.
"""

from __future__ import annotations

from dataclasses import dataclass

import pytest
from playwright.sync_api import expect

from .conftest import Spot


@dataclass(frozen=True)
class Heard:
    """A node that is announced: role, name, and what it is described by."""

    role: str
    name: str
    description: str = ""
    live: str = ""
    level: int = 0


def heard(page):
    """Everything that is announced, in its order."""
    session = page.context.new_cdp_session(page)
    session.send("Accessibility.enable")
    nodes = session.send("Accessibility.getFullAXTree")["nodes"]
    by_id = {node["nodeId"]: node for node in nodes}
    found = []

    def walk(node):
        if not node.get("ignored"):
            of = {each["name"]: each["value"].get("value") for each in node.get("properties", [])}
            text = {key: node.get(key, {}).get("value", "") or "" for key in ("role", "name", "description")}
            found.append(Heard(**text, live=of.get("live", "") or "", level=of.get("level", 0) or 0))
        for child in node.get("childIds", []):
            walk(by_id[child])

    walk(nodes[0])
    session.detach()
    return found


def names_of(tree, *roles):
    return [each.name for each in tree if each.role in roles]


def test_the_day_page_is_heard_in_the_order_in_which_it_is_used(page):
    page.goto("/days/1")
    tree = heard(page)
    headings = [(each.name, each.level) for each in tree if each.role == "heading"]
    assert headings[0] == ("Orchard", 1)
    buttons = [name for name in names_of(tree, "button") if name]
    first = next(name for name in buttons if name.startswith("Chapel door"))
    # The place, its light, the glass, the iris, ISO: as the row is read.
    assert first.index("EV") < first.index("f/") < first.index("ISO")
    for name in ("Light fell 1 click", "Light rose 1 click", "Undo"):
        assert name in buttons
    assert buttons.index(first) < buttons.index("Light fell 1 click")
    assert {"My rig differs", "Meter again"} <= set(names_of(tree, "link"))
    assert "The light here, and the last tap" in names_of(tree, "group")
    assert "On the camera" in names_of(tree, "region")
    assert "What comes next, and every other place" in names_of(tree, "list")


def test_a_tap_is_heard_and_the_focus_stays_on_the_page(page, new_day):
    page.goto(new_day("Fete", Spot("Lawn", 15), Spot("Porch", 12)))
    assert "polite" in {each.live for each in heard(page)}
    page.locator(".rows .go").first.focus()
    page.keyboard.press("Enter")
    expect(page.locator("h1")).to_have_text("Lawn")
    expect(page.locator("#heard")).to_contain_text("Kept")
    assert page.evaluate("document.activeElement !== document.body")


def test_pictures_are_heard_as_their_sentences(page):
    page.goto("/days/1/plan")
    pictures = [
        each for each in heard(page) if each.role in ("image", "img", "graphics-document", "SvgRoot") and each.name
    ]
    plan = next(each for each in pictures if each.name.startswith("The plan for"))
    assert "stops, from" in plan.description
    assert "touch the glass" in plan.description
    page.goto("/days/1/light")
    strips = [each for each in heard(page) if each.role == "image" and each.name.endswith("light over the day")]
    assert len(strips) == 8
    assert all("EV" in each.description for each in strips)


def test_the_plan_is_a_table_whose_cells_have_their_heads(page):
    page.goto("/days/1/plan")
    tree = heard(page)
    heads = names_of(tree, "columnheader")
    assert heads[-6:] == ["Number", "Time", "Stop", "Light", "Do on arriving", "Then on the camera"]
    assert "Vows" in " ".join(names_of(tree, "rowheader"))


@pytest.mark.parametrize(
    "path", ["/", "/days/1", "/venues/1", "/kits/1", "/days/1/places/1/reading", "/days/1/order", "/start"]
)
def test_nothing_that_is_pressed_or_typed_in_is_without_a_name(path, page):
    page.goto(path)
    page.locator("details").evaluate_all("all => { for (const each of all) each.open = true }")
    roles = ("button", "link", "textbox", "combobox", "checkbox", "radio", "spinbutton", "Date", "InputTime")
    unnamed = [each for each in heard(page) if each.role in roles and not each.name.strip()]
    assert unnamed == []


def test_the_whole_day_page_is_reached_by_the_tab_key_and_the_focus_is_seen(page):
    page.goto("/days/1")
    seen = []
    for _ in range(80):
        page.keyboard.press("Tab")
        at = page.evaluate("""() => {
          const e = document.activeElement;
          if (e === document.body) return null;
          const style = getComputedStyle(e), box = e.getBoundingClientRect(), bar = document.querySelector(".bar");
          const covered = !bar.contains(e) && box.bottom > bar.getBoundingClientRect().top + 1 && box.top > innerHeight - 100;
          return [e.id || e.textContent.trim().slice(0, 30), style.outlineStyle !== "none" && parseFloat(style.outlineWidth) >= 2, covered];
        }""")
        if at is None:
            break
        seen.append(at)
    names = [name for name, _, _ in seen]
    assert {"undo", "fell", "rose"} <= set(names)
    assert [name for name, is_seen, _ in seen if not is_seen] == []
    assert [name for name, _, covered in seen if covered] == []
