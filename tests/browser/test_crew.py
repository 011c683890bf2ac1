"""Two phones and a lead's: joining by a link, one sheet, a code for another browser, and a session that is ended."""

from __future__ import annotations

import json
import re
import subprocess
import sys

import pytest
from playwright.sync_api import expect

from tests.browser.conftest import CHECKOUT, settings_for


@pytest.fixture
def link(shut):
    """What the server prints for the first lead."""
    command = [sys.executable, "-m", "server", "invite"]
    env = settings_for(shut.data, shut.port, "")
    said = subprocess.run(command, cwd=CHECKOUT, env=env, check=True, capture_output=True, text=True).stdout
    return re.search(r"http\S+/join#\S+", said)[0]


def joined(visited, link, name):
    """Come in by a link, as a phone does that scanned it: two taps and a name."""
    page = visited.page
    page.goto(link)
    expect(page.get_by_role("heading", level=1)).to_have_text("Join “My crew”")
    assert "#" not in page.url, "the secret does not stay in the address bar"
    page.get_by_label("Your name").fill(name)
    page.get_by_role("button", name="Join").click()
    expect(page.get_by_role("heading", level=1)).to_have_text("Days")
    page.wait_for_load_state()
    return page


def invited(page, role):
    """The link of a new invite, made by a lead."""
    page.goto("/crew")
    page.get_by_label("Somebody comes as").select_option(role)
    page.get_by_role("button", name="Make an invite").click()
    return page.get_by_label("The link", exact=True).input_value()


def is_a_stranger(visited, path="/days/1"):
    visited.trouble.expect("answered 401", "console: .*401")
    visited.page.goto(path)
    expect(visited.page.get_by_role("heading", level=1)).not_to_have_text("Midsummer wedding")
    expect(visited.page.get_by_text("invite").first).to_be_visible()


def test_a_second_shooter_joins_works_and_is_let_out(shut, link, visit):
    lead_phone, second_phone = visit(shut), visit(shut)
    is_a_stranger(second_phone)
    lead = joined(lead_phone, link, "Ines")
    second = joined(second_phone, invited(lead, "second"), "Cem")

    second.goto("/days/1")
    second.locator(".rows .go").first.click()
    expect(second.locator("#undo")).to_be_enabled()
    lead.goto("/days/1")
    expect(lead.locator("#undo")).to_be_enabled()

    lead.goto("/crew")
    row = lead.get_by_role("listitem").filter(has_text="Cem")
    expect(row.first).to_contain_text("second shooter")
    row.get_by_role("button", name=re.compile("^End")).first.click()
    expect(
        lead.get_by_role("listitem").filter(has_text="Cem").get_by_role("button", name=re.compile("^End"))
    ).to_have_count(0)
    is_a_stranger(second_phone)
    expect(lead.get_by_role("heading", level=1)).to_have_text("My crew")


def test_a_link_lets_in_once(shut, link, visit):
    joined(visit(shut), link, "Ines")
    late = visit(shut)
    late.trouble.expect("answered 422", "console: .*422")
    late.page.goto(link)
    expect(late.page.get_by_text("This invite has been used")).to_be_visible()
    assert late.page.get_by_role("button", name="Join").count() == 0


def test_a_guest_reads_and_finds_nothing_to_press(shut, link, visit):
    lead = joined(visit(shut), link, "Ines")
    guest = joined(visit(shut), invited(lead, "guest"), "Ada")
    for path in ("/", "/days/1", "/days/1/plan", "/venues/1", "/kits/1"):
        guest.goto(path)
        assert guest.locator("form[method=post]").count() == 0, path
    guest.goto("/crew")
    expect(guest.get_by_role("button", name="Make an invite")).to_have_count(0)


def test_two_at_one_place_are_told_of_each_other(shut, link, visit):
    """Both have its form open; whoever keeps second is asked, and may let their own stand."""
    lead = joined(visit(shut), link, "Ines")
    phone = visit(shut)
    second = joined(phone, invited(lead, "second"), "Cem")
    forms = []
    for page in (lead, second):
        page.goto("/venues/1")
        card = page.locator("#place-1")
        card.get_by_text("Name, and what lights it").click()
        forms.append(card.locator("form.lit"))
    forms[0].locator("[name=name]").fill("Long orchard")
    forms[0].get_by_role("button", name="Keep").click()
    expect(lead.locator("#place-1 h2")).to_have_text("Long orchard")
    phone.trouble.expect("answered 409", "console: .*409")
    forms[1].locator("[name=name]").fill("Small orchard")
    forms[1].get_by_role("button", name="Keep").click()
    expect(second.get_by_role("alert").filter(has_text="Somebody else changed this")).to_be_visible()
    expect(second.get_by_text("Now: Long orchard")).to_be_visible()
    expect(second.locator("#place-1 form.lit [name=name]")).to_have_value("Small orchard")
    second.locator("#place-1 form.lit").get_by_role("button", name="Keep").click()
    expect(second.locator("#place-1 h2")).to_have_text("Small orchard")


def test_a_code_brings_the_other_browser_in(shut, link, visit):
    """An app on the home screen of some phones has a storage of its own."""
    lead = joined(visit(shut), link, "Ines")
    lead.goto("/crew")
    lead.get_by_role("button", name="A code for my other phone or browser").click()
    code = lead.locator(".answer-said").inner_text()
    app = visit(shut).page
    app.goto("/pair")
    app.get_by_label("Code").fill(code.lower())
    app.get_by_role("button", name="Come in").click()
    expect(app.get_by_role("heading", level=1)).to_have_text("Days")
    lead.goto("/crew")
    expect(
        lead.get_by_role("listitem").filter(has_text="Ines").get_by_role("button", name=re.compile("^End"))
    ).to_have_count(2)


def test_a_lead_takes_everything_along_and_deletes_it_and_every_phone_is_out(shut, link, visit):
    lead_phone, second_phone = visit(shut), visit(shut)
    lead = joined(lead_phone, link, "Ines")
    second = joined(second_phone, invited(lead, "second"), "Cem")
    with second.expect_response("**/changes"):
        second.goto("/days/1")
    lead.goto("/crew")
    lead.get_by_role("link", name="What is kept").click()
    lead_phone.trouble.expect("request failed: GET /crew/data/file")  # a page that becomes a file is one, to a browser
    with lead.expect_download() as download:
        lead.get_by_role("link", name="Download everything").click()
    document = json.loads(download.value.path().read_text("utf-8"))
    assert {"Ines", "Cem"} <= {person["name"] for person in document["people"]}
    assert document["venues"][0]["name"] == "Orchard Priory"

    second_phone.trouble.expect("answered 401", "console: .*401")
    lead.get_by_label("Type the crew’s name").fill("My crew")
    lead.get_by_role("button", name="Delete everything").click()
    expect(lead.get_by_role("heading", level=1)).to_have_text("“My crew” is gone")
    expect(second.locator("#live")).to_contain_text("signed out")
    assert lead_phone.context.cookies() == []
    is_a_stranger(lead_phone)
    is_a_stranger(second_phone)
