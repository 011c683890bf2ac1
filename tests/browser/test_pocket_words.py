"""
The script that reads the pocket, in Chromium, against the server's own actions and words on thousands of pairs of rigs.

The sums of stops are held to APEX (ASA PH2.5-1960): Av + Tv - Sv, from the true f-number, time and speed.
"""

from __future__ import annotations

import json
import math
from typing import TYPE_CHECKING, Any

import pytest
from hypothesis import Phase, given, settings
from hypothesis import strategies as st

from server.book.log import rig_from
from server.exposure import wording
from server.exposure.moves import Move, Score
from server.exposure.rig import GLASS_ACTIONS, actions, glass_stops
from server.exposure.scales import exact_f_number, exact_iso
from server.language import Manner, speaking
from server.pages.pocket import kit_document
from server.static_files import content
from tests.exposure.strategies import kits, rigs

if TYPE_CHECKING:
    from collections.abc import Iterator

    from playwright.sync_api import Browser, Page

    from server.exposure.rig import Kit, Rig
    from server.exposure.wording import Told

SCRIPTS = ("say.js", "pocket.js")
PAIRS = {"en": 200, "de": 50}
SAY = """([doc, pairs]) => {
  const pocket = new Pocket({ tables: {}, places: [], ...doc });
  return pairs.map(([now, then, over, allowed]) => {
    const [from, to] = [pocket.rig(now), pocket.rig(then)];
    return {
      now: from, then: to, told: pocket.told(from, to, over, allowed), seconds: pocket.seconds(from, to), exposes: pocket.exposes(to),
      glass: pocket.onTheLens(to), settings: pocket.settings(to),
    };
  });
}"""


@pytest.fixture(params=PAIRS)
def language(request: pytest.FixtureRequest) -> Iterator[str]:
    """A language that the server speaks meanwhile."""
    with speaking(Manner(request.param)):
        yield request.param


@pytest.fixture
def page(chromium: Browser, language: str) -> Iterator[Page]:
    page = chromium.new_page()
    page.set_content(f'<html lang="{language}"></html>')
    if language != "en":
        page.add_script_tag(content=content(f"words-{language}.js").decode())
    for name in SCRIPTS:
        page.add_script_tag(content=content(name).decode())
    yield page
    page.close()


@st.composite
def kits_and_pairs(draw: st.DrawFn) -> tuple[Kit, list[Rig], list[tuple[int, int, float, float]]]:
    """A kit, some of its rigs, and pairs of them by number, each with what is left wrong and allowed [stops]."""
    kit = draw(kits())
    some = draw(st.lists(rigs(kit), min_size=2, max_size=6, unique=True))
    number = st.integers(0, len(some) - 1)
    stops = st.one_of(
        st.floats(-4, 4).map(lambda stops: round(stops, 3)), st.sampled_from((0.0, 1 / 6, -0.5, 0.25, -1 / 3, 2.5, 0.2))
    )
    pairs = draw(st.lists(st.tuples(number, number, stops, st.sampled_from((0.0, 0.2, 0.5))), min_size=12, max_size=24))
    return kit, some, pairs


def by_server(kit: Kit, now: Rig, then: Rig, over: float, allowed: float) -> tuple[Told, float]:
    """What the server says of the move from one rig to another, and how long the hand takes [s]."""
    done = actions(kit, now, then)
    seconds = sum(each.seconds for each in done)
    glass = sum(each.seconds for each in done if each.do in GLASS_ACTIONS)
    miss = max(0.0, abs(over) - allowed)
    score = Score(miss if miss > 1e-9 else 0.0, 0, 0.0, 0, seconds, glass, 0, seconds)
    return wording.told(kit, Move(then, done, over * kit.body.clicks_per_stop, score)), seconds


def said(told: Told) -> dict[str, Any]:
    """The server's words by the names that the script has for them."""
    return {
        "glass": told.glass, "nothing": told.nothing, "way": told.turn.way, "clicks": told.turn.clicks, "turn": told.turn.said,
        "to": told.turn.to, "iso": told.iso, "newIso": told.new_iso, "shutter": told.shutter,
        "newShutter": told.new_shutter, "wrong": told.wrong, "cure": told.cure, "seconds": told.seconds,
    }  # fmt: skip


def test_the_script_says_of_two_rigs_what_the_server_says(page, language):
    counted = 0

    @settings(max_examples=PAIRS[language], deadline=None, phases=(Phase.generate, Phase.shrink))
    @given(kits_and_pairs())
    def compare(question):
        nonlocal counted
        kit, some, pairs = question
        document = json.loads(json.dumps(kit_document(kit, some, None)))
        for (*_, over, allowed), its in zip(pairs, page.evaluate(SAY, [document, pairs]), strict=True):
            now, rig = rig_from(its["now"]), rig_from(its["then"])  # the same settings, by the marks of the document
            told, seconds = by_server(kit, now, rig, over, allowed)
            assert its["told"] == said(told), (now, rig, over)
            assert its["seconds"] == pytest.approx(seconds, abs=1e-9)
            assert its["glass"] == wording.on_the_lens(kit, rig)
            exact = exact_f_number(rig.aperture, kit.body.clicks_per_stop)
            exposes = math.log2(exact**2 / rig.shutter) - math.log2(exact_iso(rig.iso) / 100) + glass_stops(kit, rig)
            assert its["exposes"] == pytest.approx(exposes, abs=0.02)  # a mark such as f/0.71 is a rounded one
            counted += 1

    compare()
    assert counted > 10 * PAIRS[language]
