"""The camera report: the day's log as a table, as CSV and in print; and what the day teaches."""

from __future__ import annotations

import csv
import io
from dataclasses import dataclass
from datetime import UTC, datetime
from typing import TYPE_CHECKING, Annotated

from fastapi import Request, Response
from fastapi.responses import RedirectResponse
from pydantic import BeforeValidator

from server.book.crews import NotThere
from server.book.days import changed_at, open_day, venue_of
from server.book.order import clock_words
from server.book.report import keep_lesson, report_of
from server.door.entrance import door_router
from server.door.visitor import TheBook, TheVisitor
from server.exposure import wording
from server.exposure.scales import marked_shutter
from server.language import Worded, noted, say, say_as

from .drawing import attached, draw, zone
from .forms import Form, TheForm, text
from .numbers import Number as RowNumber
from .order_words import guarded

if TYPE_CHECKING:
    from server.book.days import Day
    from server.book.report import Line, Report

router = door_router()

DONE = Worded({
    "moved": noted("went there"), "rig_corrected": noted("rig put right"),
    "lens_changed": noted("lens changed"), "clip_noted": noted("clip"),
})  # fmt: skip


@dataclass(frozen=True, slots=True)
class ReportLine:
    """
    A line of the report: what stands in each column of its file, figures as a spreadsheet counts with them.

    frame_rate [1/s];  aperture [f-number];  shutter, as marked [s];  light [EV at ISO 100]
    """

    at: datetime
    time: str
    done: str
    place: str
    stop: str
    planned: str
    body: str
    lens: str
    frame_rate: str
    aperture: str
    shutter: str
    iso: str
    glass: str
    light: str
    clip: str
    notes: str
    who: str
    camera: str


@router.get("/days/{day_id}/report")
def show_report(request: Request, book: TheBook, visitor: TheVisitor, day_id: RowNumber) -> Response:
    """What each shot was made with, and where the forecast was off."""
    with book.reading() as session:
        day = open_day(session, visitor, day_id)
        report = report_of(session, visitor.crew, day)
        venue = venue_of(session, visitor.crew, day_id)
    return draw(
        request, "report/page.html", day=day, lines=_lines(day, report),
        several=any(line.camera is not None for line in report.lines), lessons=report.lessons,
        kept="kept" in request.query_params, venue=venue,
    )  # fmt: skip


@router.get("/days/{day_id}/report.csv")
def write_report(book: TheBook, visitor: TheVisitor, day_id: RowNumber) -> Response:
    """The report as a file for a spreadsheet, or for whoever cuts the pictures."""
    with book.reading() as session:
        day = open_day(session, visitor, day_id)
        report = report_of(session, visitor.crew, day)
    names = [name for name in ReportLine.__slots__ if name != "at"]
    out = io.StringIO()
    writer = csv.writer(out)
    writer.writerow(["date", *names])
    for line in _lines(day, report):
        writer.writerow([line.at.date().isoformat(), *(guarded(getattr(line, name)) for name in names)])
    return attached(out.getvalue(), "text/csv; charset=utf-8", f"{day.on}-camera-report.csv")


class LessonForm(Form):
    """What of the day's findings becomes a reading of the venue."""

    lesson: Annotated[str, BeforeValidator(text)]


@router.post("/days/{day_id}/report/readings")
def keep_found(request: Request, book: TheBook, visitor: TheVisitor, day_id: RowNumber, came: TheForm) -> Response:
    """Keep what a place's light was found to be, as a reading of the venue."""
    form, _ = LessonForm.read(came)
    with book.writing(visitor.crew) as session:
        day = open_day(session, visitor, day_id)
        lesson = next(
            (each for each in report_of(session, visitor.crew, day).lessons if form and each.key == form.lesson), None
        )
        if lesson is None:
            raise NotThere("lessons")
        keep_lesson(session, lesson, visitor.name, datetime.now(UTC))
        changed_at(session, venue_of(session, visitor.crew, day_id))
    return RedirectResponse(
        f"{request.app.url_path_for('show_report', day_id=day_id)}?kept=1#lessons", status_code=303
    )  # fmt: skip


def _lines(day: Day, report: Report) -> list[ReportLine]:
    return [_line(day, line) for line in report.lines]


def _line(day: Day, line: Line) -> ReportLine:
    at = line.at.astimezone(zone(day.time_zone))
    stop = line.stop
    return ReportLine(
        at=at,
        time=f"{at:%H:%M:%S}",
        done=DONE[line.kind],
        place="" if line.place is None else line.place.name,
        stop=line.called,
        planned="" if stop is None else clock_words(stop.planned),
        body=line.used.body,
        lens=line.lens or say("no longer in the kit"),
        frame_rate="" if line.used.frame_rate is None else f"{line.used.frame_rate:g}",
        aperture=f"{round(line.rig.aperture, 2):g}",
        shutter=marked_shutter(line.rig.shutter),
        iso=f"{line.rig.iso:g}",
        glass=wording.on_the_lens(line.used.kit, line.rig),
        light="" if line.level is None else f"{line.level.light.ev100:.1f}",
        clip=line.clip,
        notes=line.notes or ("" if stop is None else stop.notes),
        who=line.who,
        camera=line.camera_name
        or (say_as("a camera", "first") if line.camera is None else say_as("a camera", "another")),
    )


def _unnamed(camera: int | None) -> str:
    return say_as("a camera", "first") if camera is None else say_as("a camera", "another")
