"""What a browser needs to install Lychgate, and to open it without a signal: W3C Web App Manifest, Service Workers."""

from __future__ import annotations

import json
import re
from io import BytesIO

import pytest
from PIL import Image

from server.static_files import BUNDLES, FOLDER, content, static, version
from tests.conftest import somebody, stranger


def test_the_manifest_has_what_an_installed_app_needs(site):
    answer = site.client.get("/manifest.webmanifest")
    assert answer.headers["content-type"].startswith("application/manifest+json")
    manifest = answer.json()
    assert (manifest["start_url"], manifest["scope"], manifest["display"]) == ("/", "/", "standalone")
    sizes = {(icon["sizes"], icon.get("purpose", "any")) for icon in manifest["icons"]}
    assert {("192x192", "any"), ("512x512", "any"), ("512x512", "maskable")} <= sizes


def test_every_icon_is_there_and_as_large_as_it_says(site):
    for icon in site.client.get("/manifest.webmanifest").json()["icons"]:
        answer = site.client.get(icon["src"])
        assert answer.status_code == 200
        assert answer.headers["content-type"] == icon["type"]
        if icon["type"] == "image/png":
            assert "x".join(map(str, Image.open(BytesIO(answer.content)).size)) == icon["sizes"]


def test_a_maskable_icon_keeps_its_sign_within_the_safe_circle():
    """W3C Web App Manifest: a circle of 40 % of the width around the middle is never cut."""
    picture = Image.open(FOLDER / "icon-maskable.png").convert("RGBA").convert("L")
    side = picture.width
    for x in range(0, side, 4):
        for y in range(0, side, 4):
            if picture.getpixel((x, y)) > 150:  # the light sign on the dark ground
                assert (x - side / 2) ** 2 + (y - side / 2) ** 2 <= (0.4 * side) ** 2
    assert picture.getpixel((0, 0)) < 100, "the ground fills it to the corners"


def test_the_worker_is_asked_for_each_time_and_may_look_after_every_page(site):
    answer = site.client.get("/sw.js")
    assert answer.headers["content-type"].startswith("text/javascript")
    assert answer.headers["cache-control"] == "no-cache"


def test_all_that_the_worker_keeps_is_there_and_is_what_the_pages_ask_for(demo):
    """A file that is not there would keep the worker from being installed at all."""
    files = json.loads(re.search(r"const FILES = (\[.*?\]);", demo.client.get("/sw.js").text)[1])
    for path in files:
        answer = demo.client.get(path)
        assert answer.status_code == 200, path
        assert "immutable" in answer.headers["cache-control"]
    for page in ("/", "/days/1", "/days/1/order", "/days/1/sheet", "/days/1/plan", "/days/1/places/1/reading"):
        asked = re.findall(r'(?:src|href)="(/static/[^"]+)"', demo.get(page).source)
        assert {path for path in asked if "icon-180" not in path} <= {*files}, page


def test_an_address_changes_with_what_is_in_the_file(site):
    path, _, mark = static("lychgate.css").partition("?v=")
    assert "immutable" in site.client.get(f"{path}?v={mark}").headers["cache-control"]
    for other in (path, f"{path}?v=0", f"{path}?v="):
        answer = site.client.get(other)
        assert answer.status_code == 200
        assert "immutable" not in answer.headers.get("cache-control", "")


def test_a_bundle_is_its_scripts_one_after_another(site):
    for name, parts in BUNDLES.items():
        text = site.client.get(static(name)).text
        assert text.encode() == content(name)
        ends = [text.index((FOLDER / part).read_text(encoding="utf-8")) for part in parts]
        assert ends == sorted(ends)


def test_every_page_says_whose_it_is_and_of_which_version(demo):
    for path in ("/", "/days/1", "/kits/1", "/phone"):
        source = demo.get(path).source
        assert f'data-version="{version()}"' in source
        assert 'data-who="1.' in source


def test_who_leaves_leaves_nothing_on_the_phone(site):
    somebody(site)
    guest = somebody(site, "guest", "Kim")
    answer = guest.client.post("/leave")
    assert answer.status_code == 303
    assert answer.headers["clear-site-data"] == '"cache", "storage"'


@pytest.mark.parametrize("path", ["/manifest.webmanifest", "/sw.js"])
def test_a_stranger_may_have_what_holds_nothing_of_a_crew(site, path):
    assert stranger(site).client.get(path).status_code == 200
    assert stranger(site).client.get("/phone").status_code == 401
