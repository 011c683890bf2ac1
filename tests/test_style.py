"""The one stylesheet: its size, its one scale of letters, and nothing in it that no page has."""

from __future__ import annotations

import re

from server.settings import CHECKOUT

SOURCE = (CHECKOUT / "static/lychgate.css").read_text(encoding="utf-8")
BYTES_MOST = 20_000
ON_PAPER = SOURCE[SOURCE.index("/* On paper") :]
ON_A_SCREEN = SOURCE[: SOURCE.index("/* On paper")]
# Letters that are part of a picture keep their size; the picture's table fits its width.
PUT_TOGETHER = {"light-narrow", *(f"by-{method}" for method in ("ev", "lux", "luminance", "camera", "eye", "photo"))}
OF_THE_PICTURES = {"12px", "11px", ".78rem"}


def test_it_is_small():
    assert len(SOURCE.encode()) < BYTES_MOST


def test_letters_have_the_sizes_of_one_scale():
    sizes = set(re.findall(r"font-size: ([^;}]+?)\s*[;}]", ON_A_SCREEN))
    assert sizes - OF_THE_PICTURES <= {"var(--t-1)", "var(--t1)", "var(--t2)", "var(--t3)", "inherit",
                                       "clamp(1rem, 4.6vw, var(--t1))"}  # fmt: skip


def test_spaces_are_quarters_of_a_rem():
    for declaration in re.findall(r"(?:margin|padding|gap)[a-z-]*: ([^;}]+)", ON_A_SCREEN):
        for figure in re.findall(r"(?<![\w.%])(\d*\.?\d+)rem", declaration):
            assert float(figure) * 4 % 1 == 0, declaration


def test_every_class_in_it_is_on_some_page():
    drawn = "".join(
        path.read_text(encoding="utf-8")
        for folder, kinds in (("templates", "*.html"), ("static", "*.js"), ("server", "*.py"))
        for path in (CHECKOUT / folder).rglob(kinds)
    )
    words = {*re.findall(r"[\w-]+", drawn)}
    used = {*re.findall(r"\.([a-z][\w-]*)", re.sub(r"/\*.*?\*/|@import[^;]+;|\d\.\d", "", SOURCE, flags=re.DOTALL))}
    assert {each for each in used if each not in words} <= PUT_TOGETHER
