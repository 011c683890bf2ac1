"""The day page: where the shooter stands, what is on the camera, and what every next place needs."""

from __future__ import annotations

import json
import re
from datetime import UTC, datetime, timedelta
from typing import TYPE_CHECKING, Annotated, Any

from fastapi import Request, Response
from fastapi.responses import RedirectResponse
from pydantic import BeforeValidator
from sqlalchemy import update

from server.book import tables
from server.book.days import append, changed, checked_rig, in_log, is_of_another, on_the_camera, open_day, with_lens
from server.book.order import SHIFT_MOST
from server.book.tables import NOTES_LONGEST
from server.book.venues import contrast
from server.door.entrance import door_router
from server.door.visitor import TheBook, TheVisitor
from server.exposure import wording
from server.exposure.daylight import Sky
from server.exposure.glass import screws_on
from server.exposure.refused import OutOfRange, within
from server.exposure.rig import Rig, glass_stops, nearest_rig
from server.exposure.scales import aperture_position, marked_f_number
from server.language import noted, say

from .day_view import day_view, lens_words, light_words, shares_sky
from .drawing import SKY_WORDS, draw, wants_fragment
from .forms import (
    FNumber,
    Form,
    MaybeNumber,
    MaybeWhole,
    Name,
    Number,
    Seconds,
    TheForm,
    Ticked,
    Typed,
    Whole,
    hour,
    optional,
    text,
    whole,
)
from .numbers import Number as RowNumber
from .order_words import minutes
from .photos import ThePhoto
from .readings import METHODS, last_noted, method_of, read_photo_reading, read_reading, with_method

if TYPE_CHECKING:
    from sqlalchemy.orm import Session

    from server.book.days import Day, DayPlace
    from server.book.log import Kind
    from server.book.store import Book
    from server.door.visitor import Visitor

    from .readings import Reading

router = door_router()


def _event_id(came: object) -> str:
    line = text(came)
    if not 8 <= len(line) <= 36 or not line.isascii():
        message = say("an id of 8 to 36 characters")
        raise ValueError(message)
    return line


def _tap(came: object) -> tuple[str, Rig]:
    try:
        sent = json.loads(str(came))
        rig = sent["rig"]
        figures = {name: float(rig[name]) for name in ("built_in", "aperture", "shutter", "iso")}
        front, turned = rig.get("front"), rig.get("turned")
        answer = str(sent["answer"])
        if answer not in ("clean", "fast", "other") or not isinstance(rig["holder_on"], bool):
            raise ValueError(answer)
        return answer, Rig(
            holder_on=rig["holder_on"],
            slots=tuple(str(each) for each in rig["slots"]),
            threads=tuple(str(each) for each in rig["threads"]),
            front=None if front is None else str(front),
            turned=None if turned is None else float(turned),
            **figures,
        )
    except (ValueError, TypeError, KeyError, OverflowError, RecursionError) as error:
        message = say("an answer that this page gave")
        raise ValueError(message) from error


CLICKS_MOST = 90  # thirty stops


def _clicks(came: object) -> int:
    line = text(came).replace("−", "-")
    if not re.fullmatch(r"-?\d{1,3}", line, re.ASCII) or int(line) == 0:
        message = say("a number of clicks, such as -2")
        raise ValueError(message)
    return int(line)


def _phone_time(came: object) -> int | None:
    return None if optional(came) is None else whole(came, digits=14)


EventId = Annotated[str, BeforeValidator(_event_id)]
PhoneTime = Annotated[int | None, BeforeValidator(_phone_time)]

MILLISECOND = timedelta(milliseconds=1)
LATE_MOST = 366  # days that a phone may keep to itself what it has done


class EventForm(Form):
    """
    Something that happened, with an id of its own.

    made_at, sent_at  [ms since 1970] when it was done and when it is sent, both by the phone's own clock; None: now.
                      A phone without a signal sends later what it did, and its clock may be wrong.
    after             the id of what the same phone did before it
    """

    event_id: EventId
    made_at: PhoneTime = None
    sent_at: PhoneTime = None
    after: Annotated[str | None, BeforeValidator(lambda came: None if optional(came) is None else _event_id(came))] = (
        None
    )

    def check(self) -> None:
        """Both times or neither, the sending last."""
        if self.made_at is None and self.sent_at is None:
            return
        if self.made_at is None or self.sent_at is None:
            raise OutOfRange("made_at", say("one time"), say("when it was done and when it is sent, by one clock"))
        days = (self.sent_at - self.made_at) * MILLISECOND / timedelta(days=1)
        within("made_at", days, 0, LATE_MOST, noted("days before it is sent"))

    @property
    def happened(self) -> datetime | None:
        """When it was done: as long ago as the phone says that it was done before it sends it. None: now."""
        if self.made_at is None or self.sent_at is None:
            return None
        return datetime.now(UTC) - (self.sent_at - self.made_at) * MILLISECOND


class Tap(EventForm):
    """
    The shooter walked to a place, with one of its answers on the camera.

    stop, lens  of the running order, and put on for it, where that was so
    """

    place: Whole
    tap: Annotated[Any, BeforeValidator(_tap)]
    stop: MaybeWhole = None
    lens: MaybeWhole = None


class Nudge(EventForm):
    """The light here rose (+1) or fell (-1) by a click."""

    place: Whole
    clicks: Annotated[
        int, BeforeValidator(lambda came: {"1": 1, "-1": -1}[str(came)] if str(came) in ("1", "-1") else 0)
    ]

    def check(self) -> None:
        """A nudge goes one way or the other."""
        super().check()
        if self.clicks == 0:
            raise OutOfRange("clicks", say("something else"), say("1 or -1"))


class Undo(EventForm):
    """Take an event back."""

    event: EventId


class RigForm(EventForm):
    """What is really on the camera."""

    holder_on: Ticked = False
    slots: tuple[Annotated[str, BeforeValidator(text)], ...] = ()
    threads: tuple[Annotated[str, BeforeValidator(text)], ...] = ()
    built_in: Number = 0.0
    aperture: FNumber
    shutter: Seconds
    iso: Number
    front: Annotated[str | None, BeforeValidator(optional)] = None
    turned: MaybeNumber = None

    def rig(self) -> Rig:
        """The engine's value; empty choices are left out."""
        slots, threads = (tuple(each for each in ids if each) for ids in (self.slots, self.threads))
        return Rig(
            holder_on=self.holder_on,
            slots=slots,
            threads=threads,
            built_in=self.built_in,
            aperture=self.aperture,
            shutter=self.shutter,
            iso=self.iso,
            front=self.front,
            turned=self.turned,
        )

    def check(self) -> None:
        """Refuse settings that no camera has."""
        super().check()
        self.rig()


@router.get("/days/{day_id}")
def show_day(request: Request, book: TheBook, visitor: TheVisitor, day_id: RowNumber) -> Response:
    """Every other place with its answer already on it."""
    with book.reading() as session:
        day = open_day(session, visitor, day_id)
    said = say(OLDER) if "older" in request.query_params else ""
    return draw(request, "day/page.html", view=day_view(day, datetime.now(UTC), said))


@router.post("/days/{day_id}/moves")
def commit_move(request: Request, book: TheBook, visitor: TheVisitor, day_id: RowNumber, came: TheForm) -> Response:
    """The shooter walked to a place with one of its two answers on the camera."""
    form, typed = Tap.read(came)
    wrong = ""
    with book.writing(visitor.crew) as session:
        day = open_day(session, visitor, day_id)
        if form is not None:
            answer, rig = form.tap
            other = form.lens if form.lens != day.used.lens else None
            used = day.used if other is None else with_lens(session, visitor, day_id, other)
            try:
                data = {"place": day.place(form.place).number, "answer": answer, "rig": checked_rig(used.kit, rig)}
            except OutOfRange:
                wrong = say(KIT_CHANGED)
            else:
                # A stop that was taken out of the order meanwhile makes the walk no less true.
                stop = next((stop for stop in day.order if stop.number == form.stop), None)
                data |= {} if stop is None else {"stop": stop.number, "stop_name": stop.name}
                data |= {} if other is None else {"lens": other}
                _keep(session, day, form, "moved", data, visitor)
    return _drawn(request, book, visitor, day_id, typed, say("Kept. Undo takes it back."), wrong=wrong)


@router.post("/days/{day_id}/nudges")
def nudge(request: Request, book: TheBook, visitor: TheVisitor, day_id: RowNumber, came: TheForm) -> Response:
    """The light where the shooter stands is a click brighter or darker than was thought."""
    form, typed = Nudge.read(came)
    said = ""
    with book.writing(visitor.crew) as session:
        day = open_day(session, visitor, day_id)
        if form is not None:
            data = {"place": day.place(form.place).number, "clicks": form.clicks}
            _keep(session, day, form, "nudged", data, visitor)
            said = say("Light rose a third of a stop.") if form.clicks > 0 else say("Light fell a third of a stop.")
    return _drawn(request, book, visitor, day_id, typed, said)


class SkyNudge(EventForm):
    """What was nudged at one place, for the others under its sky."""

    place: Whole
    clicks: Annotated[int, BeforeValidator(_clicks)]

    def check(self) -> None:
        """As many clicks as light can change by."""
        super().check()
        within("clicks", self.clicks, -CLICKS_MOST, CLICKS_MOST, noted("clicks"))


@router.post("/days/{day_id}/sky-nudges")
def nudge_under_sky(request: Request, book: TheBook, visitor: TheVisitor, day_id: RowNumber, came: TheForm) -> Response:
    """The shooter says that a nudge holds for the other places under the same sky too."""
    form, typed = SkyNudge.read(came)
    said = ""
    with book.writing(visitor.crew) as session:
        day = open_day(session, visitor, day_id)
        wrong = ""
        if form is not None:
            others = shares_sky(day, day.place(form.place).number)
            said = say("{light_words} at {count} more.", light_words=light_words(form.clicks), count=len(others))
            # Shared once: a second tap, or another phone's, would count the same fall again.
            if day.state.turned == (form.place, form.clicks):
                data = {"places": others, "clicks": form.clicks}
                _keep(session, day, form, "sky_nudged", data, visitor)
            elif not in_log(session, day_id, form.event_id):
                wrong = say("Not shared: it was shared already, or something else has happened since.")
    return _drawn(request, book, visitor, day_id, typed, said, wrong=wrong)


class SkyTap(EventForm):
    """The sky as it stands now."""

    sky: Annotated[Sky, BeforeValidator(text)]


@router.post("/days/{day_id}/sky")
def see_sky(request: Request, book: TheBook, visitor: TheVisitor, day_id: RowNumber, came: TheForm) -> Response:
    """Another sky: every forecast goes by it, and what was nudged under the old one lapses."""
    form, typed = SkyTap.read(came)
    said = ""
    with book.writing(visitor.crew) as session:
        day = open_day(session, visitor, day_id)
        if form is not None:
            _keep(session, day, form, "sky_seen", {"sky": form.sky}, visitor)
            goes = (
                say("every forecast goes by it")
                if day.site is not None
                else say("noted; without coordinates nothing is forecast")
            )
            said = say("Sky {sky_words}: {goes}.", sky_words=SKY_WORDS[form.sky], goes=goes)
    return _drawn(request, book, visitor, day_id, typed, said)


class ShiftTap(EventForm):
    """Everything from a stop on comes later, or earlier."""

    stop: Whole
    minutes: Annotated[int, BeforeValidator(minutes)]

    def check(self) -> None:
        """Hold the shift to the day."""
        super().check()
        if not 0 < abs(self.minutes) <= SHIFT_MOST:
            raise OutOfRange(
                "minutes",
                say("{minutes} minutes", minutes=self.minutes),
                say("1 to {most}, either way", most=SHIFT_MOST),
            )


@router.post("/days/{day_id}/order/shifts")
def shift_order(request: Request, book: TheBook, visitor: TheVisitor, day_id: RowNumber, came: TheForm) -> Response:
    """The bride is late: everything from a stop on moves, and light and plan with it."""
    form, typed = ShiftTap.read(came)
    said, wrong = "", ""
    with book.writing(visitor.crew) as session:
        day = open_day(session, visitor, day_id)
        if form is not None:
            first = day.stop(form.stop)
            stops = [stop.number for stop in day.order[day.order.index(first) :]]
            most = max(abs(day.state.shifts.get(stop, 0) + form.minutes) for stop in stops)
            if most > SHIFT_MOST:
                wrong = say("Not shifted: that would be half a day in all.")
            else:
                data = {"stops": stops, "minutes": form.minutes}
                _keep(session, day, form, "order_shifted", data, visitor)
                said = (
                    say("From {stop} on, all {minutes} min later.", stop=first.name, minutes=form.minutes)
                    if form.minutes > 0
                    else say("From {stop} on, all {minutes} min earlier.", stop=first.name, minutes=-form.minutes)
                )
    return _drawn(request, book, visitor, day_id, typed, said, wrong=wrong)


class ClipTap(EventForm):
    """The clip or shot that was just made."""

    name: Name
    notes: Annotated[str, BeforeValidator(text)] = ""

    def check(self) -> None:
        """A note is no letter."""
        super().check()
        if len(self.notes) > NOTES_LONGEST:
            raise OutOfRange(
                "notes",
                say("{count} characters", count=len(self.notes)),
                say("at most {longest}", longest=NOTES_LONGEST),
            )


@router.post("/days/{day_id}/clips")
def note_clip(request: Request, book: TheBook, visitor: TheVisitor, day_id: RowNumber, came: TheForm) -> Response:
    """A clip's name, beside what the camera was set to: for the camera report."""
    form, typed = ClipTap.read(came)
    said = ""
    with book.writing(visitor.crew) as session:
        day = open_day(session, visitor, day_id)
        if form is not None:
            data = {"name": form.name} | ({"notes": form.notes} if form.notes else {})
            _keep(session, day, form, "clip_noted", data, visitor)
            said = say("{name} noted.", name=form.name)
    return _drawn(request, book, visitor, day_id, typed, said)


class HourForm(Form):
    """The hour that a day's light is shown for until it has come."""

    seen_at: Annotated[str, BeforeValidator(hour)]


@router.post("/days/{day_id}/hour")
def show_hour(request: Request, book: TheBook, visitor: TheVisitor, day_id: RowNumber, came: TheForm) -> Response:
    """Another hour to show the day's light for."""
    form, typed = HourForm.read(came)
    with book.writing(visitor.crew) as session:
        open_day(session, visitor, day_id)
        if form is not None:
            session.execute(update(tables.Day).where(tables.Day.id == day_id).values(seen_at=form.seen_at))
            changed(session, day_id)
    return _drawn(request, book, visitor, day_id, typed)


@router.post("/days/{day_id}/undo")
def undo(request: Request, book: TheBook, visitor: TheVisitor, day_id: RowNumber, came: TheForm) -> Response:
    """Take back what was done last."""
    form, typed = Undo.read(came)
    with book.writing(visitor.crew) as session:
        day = open_day(session, visitor, day_id)
        wrong = ""
        if form is not None and is_of_another(session, day, form.event):
            wrong = say("Not taken back: another camera’s shooter did that.")
        elif form is not None:
            _keep(session, day, form, "undone", {"event": form.event}, visitor)
    return _drawn(request, book, visitor, day_id, typed, say("Taken back."), wrong=wrong)


class LensTap(EventForm):
    """Another lens went on."""

    lens: Whole


@router.post("/days/{day_id}/lens")
def change_lens(request: Request, book: TheBook, visitor: TheVisitor, day_id: RowNumber, came: TheForm) -> Response:
    """Another lens: what the rings allow stays on it, and what they don't is said."""
    form, typed = LensTap.read(came)
    said = ""
    with book.writing(visitor.crew) as session:
        day = open_day(session, visitor, day_id)
        if form is not None:
            used = with_lens(session, visitor, day_id, form.lens)
            rig = nearest_rig(used.kit, day.rig)
            data = {"lens": form.lens, "rig": checked_rig(used.kit, rig)}
            _keep(session, day, form, "lens_changed", data, visitor)
            said = lens_words(day.kit, used.kit, day.rig, rig)
    return _drawn(request, book, visitor, day_id, typed, said)


@router.get("/days/{day_id}/rig")
def edit_rig(request: Request, book: TheBook, visitor: TheVisitor, day_id: RowNumber) -> Response:
    """What is on the camera, to be put right."""
    with book.reading() as session:
        return _rig_page(request, open_day(session, visitor, day_id), Typed())


@router.post("/days/{day_id}/rig")
def correct_rig(request: Request, book: TheBook, visitor: TheVisitor, day_id: RowNumber, came: TheForm) -> Response:
    """The shooter did it differently."""
    form, typed = RigForm.read(came)
    with book.writing(visitor.crew) as session:
        day = open_day(session, visitor, day_id)
        if form is not None:
            try:
                data = {"rig": checked_rig(day.kit, form.rig())}
                _keep(session, day, form, "rig_corrected", data, visitor)
            except OutOfRange as refused:
                typed.refuse(refused)
        if typed.errors:
            return _rig_page(request, day, typed, status=422)
    return _to_day(request, day_id)


@router.get("/days/{day_id}/places/{place_id}/reading")
def meter(
    request: Request, book: TheBook, visitor: TheVisitor, day_id: RowNumber, place_id: RowNumber
) -> Response:  # fmt: skip
    """The forms for a new reading at a place of the day."""
    with book.reading() as session:
        day = open_day(session, visitor, day_id)
    return _meter_page(request, day, day.place(place_id), Typed())


@router.post("/days/{day_id}/places/{place_id}/readings")
def take_reading(
    request: Request,
    book: TheBook,
    visitor: TheVisitor,
    day_id: RowNumber,
    place_id: RowNumber,
    came: TheForm,
) -> Response:
    """A new reading on the day; a camera's reading counts the glass that is on the camera."""
    with book.writing(visitor.crew) as session:
        day = open_day(session, visitor, day_id)
        event = EventForm.read(came)
        on_camera = _glass_then(session, visitor, day, event[0])
        reading, typed = read_reading(came, day.time_zone, datetime.now(UTC), lambda _: on_camera)
        return _take(request, session, visitor, day, place_id, event, reading, typed)


@router.post("/days/{day_id}/places/{place_id}/photo")
def take_photo(
    request: Request,
    book: TheBook,
    visitor: TheVisitor,
    day_id: RowNumber,
    place_id: RowNumber,
    came: ThePhoto,
) -> Response:
    """A photo as a reading; it counts the glass on the camera only where it was taken through it."""
    fields, data = came
    with book.writing(visitor.crew) as session:
        day = open_day(session, visitor, day_id)
        event = EventForm.read(fields)
        on_camera = _glass_then(session, visitor, day, event[0])
        now = datetime.now(UTC)
        reading, typed = read_photo_reading(
            fields, data, day.time_zone, now, lambda form: on_camera if form.through else 0.0
        )
        return _take(request, session, visitor, day, place_id, event, reading, typed)


def _glass_then(session: Session, visitor: Visitor, day: Day, form: EventForm | None) -> float:
    """What the camera looked through [stops] when a reading was made, which may come late."""
    return glass_stops(*on_the_camera(session, visitor, day, None if form is None else form.happened))


def _take(
    request: Request,
    session: Session,
    visitor: Visitor,
    day: Day,
    place_id: int,
    form: tuple[EventForm | None, Typed],
    reading: Reading | None,
    typed: Typed,
) -> Response:
    place = day.place(place_id)
    event, typed_id = form
    typed.errors |= typed_id.errors
    if reading is None or event is None:
        return _meter_page(request, day, place, typed, status=422)
    data: dict[str, Any] = {"place": place_id, "kind": reading.kind, "raw": reading.raw, "ev100": reading.ev100}
    data |= {"part": reading.part} if reading.part != "face" else {}
    data |= {"sky": reading.sky} if reading.sky is not None else {}
    data |= {"taken_at": reading.taken_at.isoformat()} if reading.taken_at is not None else {}
    _keep(session, day, event, "reading_taken", data, visitor)
    newest = place.light.reading.taken_at if place.light is not None else None
    older = reading.part == "face" and newest is not None and reading.taken_at is not None and newest > reading.taken_at
    return with_method(request, _to_day(request, day.id, "?older" if older else ""), reading.kind)


def _keep(
    session: Session, day: Day, form: EventForm, kind: Kind, data: dict[str, Any], visitor: Visitor
) -> None:  # fmt: skip
    """Add what a form says to the day's log, at the time when it was done."""
    append(session, day.id, form.event_id, kind, data, visitor.name, day.camera, form.happened, form.after)


OLDER = noted("Kept. An even newer reading stays in use.")
KIT_CHANGED = noted("Not kept: the kit has changed since this page was drawn. These are the answers now.")


def _drawn(
    request: Request, book: Book, visitor: Visitor, day_id: int, typed: Typed, said: str = "", *, wrong: str = ""
) -> Response:  # fmt: skip
    """
    The day after a tap: the fragment for htmx, else back to the page, safe to reload.

    The tap is kept by then: what the answers and the plan take must hold up nobody else's.
    """
    if typed.errors:
        wrong = say("Not kept: {why}", why="; ".join(typed.errors.values()))
    if not wrong and (_wants_no_page(request) or not wants_fragment(request)):
        return _to_day(request, day_id)
    with book.reading() as session:
        day = open_day(session, visitor, day_id)
    view = day_view(day, datetime.now(UTC), said="" if wrong else said, wrong=wrong)
    template = "day/_day.html" if wants_fragment(request) else "day/page.html"
    return draw(request, template, status=422 if wrong else 200, view=view)


def _rig_page(request: Request, day: Day, typed: Typed, status: int = 200) -> Response:
    kit, clicks = day.kit, day.kit.body.clicks_per_stop
    irises = [marked_f_number(position, clicks) for position in kit.irises()]
    now = marked_f_number(aperture_position(day.rig.aperture, clicks), clicks)
    return draw(
        request, "day/rig.html", status=status, day=day, rig=day.rig, typed=typed,
        irises=irises if now in irises else sorted([*irises, now]), aperture=now,
        isos=sorted({*kit.body.iso_allowed, day.rig.iso}), shutters=sorted({*kit.body.shutters, day.rig.shutter}),
        plates=[f for f in kit.filters if kit.holder is not None and kit.holder.takes(f)],
        fronts=[f for f in kit.filters if kit.holder is not None and kit.holder.takes_in_front(f)],
        screwed=[f for f in kit.filters if screws_on(f, kit.lens.thread, kit.step_ups)],
        variables=[f for f in kit.filters if f.kind == "variable_nd"],
    )  # fmt: skip


def _meter_page(request: Request, day: Day, place: DayPlace, typed: Typed, status: int = 200) -> Response:
    now = datetime.now(UTC)
    light = place.light
    lit = [each.light.reading for each in day.places if each.light is not None]
    last_sky = day.sky(now) or last_noted([(reading.taken_at, reading.sky) for reading in lit], now)
    there = None if light is None else contrast(day.site, place.spot, light.reading, light.others, day.moment(now))
    return draw(
        request, "day/meter.html", status=status, day=day, place=place, typed=typed, methods=METHODS,
        level=day.level(place, now), contrast=there or {},
        last_method=method_of(request, None if light is None else light.reading.kind), last_sky=last_sky,
        stops_on=glass_stops(day.kit, day.rig), glass=wording.on_the_lens(day.kit, day.rig), rig=day.rig,
    )  # fmt: skip


def _wants_no_page(request: Request) -> bool:
    """Whether a phone that sends what it kept needs no more than to know that it is kept (RFC 7240)."""
    return request.headers.get("prefer") == "return=minimal"


def _to_day(request: Request, day_id: int, query: str = "") -> Response:
    where = f"{request.app.url_path_for('show_day', day_id=day_id)}{query}"
    if _wants_no_page(request):
        return Response(status_code=204, headers={"content-location": where})
    return RedirectResponse(where, status_code=303)
