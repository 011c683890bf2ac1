"""
A sheet as PDF: whole on A4, and its running order on an A6 card (ISO 216), with a QR code that opens the sheet.

The file is dated as the day that it is for, and its letters are in it: the same sheet is the same bytes, everywhere.
"""

from __future__ import annotations

from dataclasses import dataclass
from datetime import UTC, datetime, time
from functools import lru_cache
from pathlib import Path
from typing import TYPE_CHECKING, Literal, cast

import segno
from fpdf import FPDF
from fpdf.enums import XPos, YPos

from server.language import day, noted, say

if TYPE_CHECKING:
    from collections.abc import Sequence

    from .sheet_view import SheetStop, SheetView

FONTS = Path(__file__).parent / "fonts"  # DejaVu Sans Condensed, with its licence
FAMILY = "sheet"
SOFT = 70  # grey of 255; 9:1 on paper
Paper = Literal["a4", "a6"]
A_CAUTION = noted(
    "Stands, cables and moving through a crowd are under the venue’s rules and local law. Never look at the sun "
    "through an optical finder or a lens. Photographic ND and polarisers are no eye protection."
)


@dataclass(frozen=True, slots=True)
class _Size:
    """
    A sheet of paper. wide, high, margin, qr (0: none)  [mm];  head, body  sizes of the letters [pt]
    """

    wide: float
    high: float
    margin: float
    qr: float
    head: float
    body: float

    @property
    def line(self) -> float:
        """From one line of the body to the next [mm]."""
        return self.body * 0.3528 * 1.22


SIZES: dict[Paper, _Size] = {"a4": _Size(210, 297, 12, 26, 15, 9), "a6": _Size(105, 148, 6, 18, 11, 7.5)}


@dataclass(frozen=True, slots=True)
class Words:
    """A run of words in a cell of a table, on lines of its own. strong: bold, else soft is grey."""

    text: str
    strong: bool = False
    soft: bool = False


@lru_cache(maxsize=32)
def pdf_of(view: SheetView, address: str, paper: Paper) -> bytes:
    """
    A sheet as a PDF file.

    address  what the QR code opens; empty: there is none
    Remembered: the same sheet is asked for by everybody who got its link.
    """
    pdf = _Sheet(view, address, SIZES[paper])
    pdf.add_page()
    if paper == "a4":
        _whole(pdf, view)
    else:
        _card(pdf, view)
    return bytes(pdf.output())


def _whole(pdf: _Sheet, view: SheetView) -> None:
    if view.stops:
        pdf.heading(say("Running order"))
        columns = (0.12, 0.36, 0.19, 0.33)
        pdf.head_row(columns, (say("Time"), say("Stop"), say("Light"), say("On the camera")))
        for stop in view.stops:
            pdf.row(columns, (_time(stop), _happens(stop), _light(stop), _on_camera(stop)))
    if view.refused:
        pdf.write_line(say("This day is too large to plan: {refused}.", refused=view.refused))
    pdf.heading(say("Places"))
    thirds = (0.3, 0.24, 0.46)
    pdf.head_row(thirds, (say("Place"), say("Newest reading"), say("How it was read")))
    for place in view.places:
        cautions = [Words(f"{each[0].upper()}{each[1:]}.", strong=True) for each in place.cautions]
        pdf.row(
            thirds,
            (
                [Words(place.name, strong=True), Words(place.lit, soft=True)],
                [Words(place.level or say("not read yet")), *(Words(each, soft=True) for each in place.others)],
                [*([Words(place.read)] if place.read else []), *cautions],
            ),
        )
    if view.packed:
        pdf.heading(say("Pack"))
        pdf.write_line(f"{'; '.join(view.packed)}.")
    pdf.write_line(say(A_CAUTION), soft=True)


def _card(pdf: _Sheet, view: SheetView) -> None:
    columns = (0.17, 0.83)
    for stop in view.stops:
        rig = [Words("; ".join(each for each in (stop.lens, stop.glass, stop.rig) if each))] if stop.glass else []
        place = f", {stop.place}" if stop.place else ""
        doubt = [Words(stop.doubt, soft=True)] if stop.doubt else []
        light = [Words(stop.light, soft=True)] if stop.light else []
        when = [Words(stop.clock, strong=True), *light]
        pdf.row(columns, (when, [Words(f"{stop.name}{place}", strong=True), *rig, *doubt]))
    if not view.stops:
        pdf.write_line(say("There is no running order yet."))


def _time(stop: SheetStop) -> list[Words]:
    until = [Words(say("to {until}", until=stop.until), soft=True)] if stop.until else []
    return [Words(stop.clock, strong=True), *until]


def _happens(stop: SheetStop) -> list[Words]:
    more = [each for each in (stop.place, stop.notes) if each]
    return [Words(stop.name, strong=True), *(Words(each, soft=True) for each in more)]


def _light(stop: SheetStop) -> list[Words]:
    soft = [each for each in (stop.span, stop.doubt) if each]
    return [*([Words(stop.light)] if stop.light else []), *(Words(each, soft=True) for each in soft)]


def _on_camera(stop: SheetStop) -> list[Words]:
    if stop.why:
        return [Words(say("Not planned: {why}", why=stop.why), soft=True)]
    return [Words(each, strong=number == 1) for number, each in enumerate((stop.lens, stop.glass, stop.rig)) if each]


class _Sheet(FPDF):
    """Pages with the sheet's head on each, and rows that stay whole."""

    def __init__(self, view: SheetView, address: str, size: _Size) -> None:
        super().__init__(unit="mm", format=(size.wide, size.high))
        self.view, self.address, self.size = view, address, size
        self.set_margin(size.margin)
        self.set_auto_page_break(auto=True, margin=size.margin + 4)
        for style, name in (("", "DejaVuSansCondensed.ttf"), ("B", "DejaVuSansCondensed-Bold.ttf")):
            self.add_font(FAMILY, style, FONTS / name)
        self.set_title(f"{view.name}, {view.venue}")
        self.set_lang("en")
        self.set_creation_date(datetime.combine(view.on, time(), UTC))
        self._head: tuple[tuple[float, ...], tuple[str, ...]] | None = None

    def header(self) -> None:
        """The head of every page; the first has more of it."""
        view, size = self.view, self.size
        first = self.page_no() == 1
        beside = size.qr + 3 if self.address and first else 0
        wide = self.epw - beside
        if beside:
            self._qr(size.wide - size.margin - size.qr, size.margin, size.qr)
        self._letters(size.head if first else size.body + 1, strong=True)
        self._lines(wide, self.font_size * 1.2, view.name)
        self._letters(size.body, soft=not first)
        date = day(view.on, "EEEE d MMMM y")
        self._lines(
            wide,
            size.line,
            say("{venue}. {date}. Times are the venue’s ({clock}).", venue=view.venue, date=date, clock=view.clock),
        )
        if first:
            facts = [*view.suns, *([say("at {at}", at=view.at)] if view.at else [])]
            if facts:
                self._lines(wide, size.line, f"{'; '.join(facts)}.".capitalize())
            if self.address:
                self._letters(size.body - 1.5, soft=True)
                self._lines(wide, size.line, say("Scan for the sheet as it stands now."))
                self.set_y(max(self.get_y(), size.margin + size.qr + 1))
        self.ln(1)
        if self._head is not None and not first:
            self._head_row(*self._head)

    def footer(self) -> None:
        """Which page of how many."""
        self.set_y(-self.size.margin - 3)
        self._letters(self.size.body - 1.5, soft=True)
        self.cell(self.epw, 3, f"{self.page_no()} / {{nb}}", align="R")

    def heading(self, words: str) -> None:
        """A heading, on one page with what follows."""
        self._head = None
        if self.will_page_break(self.size.line * 5):
            self.add_page()
        self.ln(2)
        self._letters(self.size.body + 2, strong=True)
        self._lines(self.epw, self.font_size * 1.3, words)

    def write_line(self, words: str, *, soft: bool = False) -> None:
        """Words across the page."""
        self._head = None
        self.ln(1.5)
        self._letters(self.size.body, soft=soft)
        self._lines(self.epw, self.size.line, words)

    def head_row(self, columns: Sequence[float], words: Sequence[str]) -> None:
        """The head of a table; on each page that it goes on to once more."""
        self._head_row(tuple(columns), tuple(words))
        self._head = tuple(columns), tuple(words)

    def _head_row(self, columns: tuple[float, ...], words: tuple[str, ...]) -> None:
        self._letters(self.size.body - 1.5, soft=True)
        for column, each in zip(columns, words, strict=True):
            self.cell(column * self.epw, self.size.line, each)
        self.ln(self.size.line)

    def row(self, columns: Sequence[float], cells: Sequence[Sequence[Words]]) -> None:
        """A row of a table, whole on one page."""
        gap, over = 2.0, 0.9
        widths = [column * self.epw - gap for column in columns]
        high = max(sum(self._high(width, each) for each in cell) for width, cell in zip(widths, cells, strict=True))
        if self.will_page_break(high + 2 * over):
            self.add_page()
        left, top = self.l_margin, self.get_y()
        self.set_draw_color(170)
        self.set_line_width(0.15)
        self.line(left, top, left + self.epw, top)
        x = left
        for column, width, cell in zip(columns, widths, cells, strict=True):
            self.set_xy(x, top + over)
            for each in cell:
                self.set_x(x)
                self._letters(self.size.body, strong=each.strong, soft=each.soft)
                self._lines(width, self.size.line, each.text)
            x += column * self.epw
        self.set_xy(left, top + high + 2 * over)

    def _high(self, width: float, words: Words) -> float:
        self._letters(self.size.body, strong=words.strong)
        lines = self.multi_cell(width, self.size.line, words.text, align="L", dry_run=True, output="LINES")
        return len(cast("list[str]", lines)) * self.size.line

    def _lines(self, width: float, line: float, words: str) -> None:
        self.multi_cell(width, line, words, align="L", new_x=XPos.LEFT, new_y=YPos.NEXT)

    def _letters(self, size: float, *, strong: bool = False, soft: bool = False) -> None:
        self.set_font(FAMILY, "B" if strong else "", size)
        self.set_text_color(SOFT if soft else 0)

    def _qr(self, left: float, top: float, side: float) -> None:
        """The code of the sheet's address: dark squares with the white border that the standard asks for."""
        code = segno.make(self.address, error="m")
        rows = list(code.matrix_iter(border=4))
        module = side / len(rows)
        self.set_fill_color(0)
        for number, row in enumerate(rows):
            start = None
            for place, dark in enumerate([*row, 0]):
                if dark and start is None:
                    start = place
                elif not dark and start is not None:
                    # Each runs a hair into the next: no reader or printer draws a white line between.
                    self.rect(
                        left + start * module, top + number * module, (place - start) * module, module * 1.02, "F"
                    )
                    start = None
