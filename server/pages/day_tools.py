"""What stands behind the day page: other ways to a place, the bag, and a grad for the sky."""

from __future__ import annotations

from dataclasses import dataclass
from datetime import UTC, datetime
from typing import TYPE_CHECKING, Annotated, Literal

from fastapi import Request, Response
from pydantic import BeforeValidator

from server.book.days import open_day
from server.book.plans import to_pack_for
from server.door.entrance import door_router
from server.door.visitor import TheBook, TheVisitor
from server.exposure import grads, packing, wording
from server.exposure.light import Light
from server.exposure.moves import cannot_wear, other_ways
from server.exposure.refused import OutOfRange
from server.language import say

from .day_view import Around, sun_at, told_answer
from .drawing import draw
from .forms import Form, Number, NumberOrZero, TheForm, Typed, text
from .numbers import Number as RowNumber

if TYPE_CHECKING:
    from collections.abc import Iterable

    from server.book.days import Day
    from server.book.plans import ToPackFor
    from server.exposure.rig import Kit

router = door_router()


@router.get("/days/{day_id}/places/{place_id}/ways")
def show_ways(
    request: Request,
    book: TheBook,
    visitor: TheVisitor,
    day_id: RowNumber,
    place_id: RowNumber,
    stop: RowNumber | None = None,
) -> Response:
    """Every way to a place, or to a stop there, that no other beats on hand time, iris and ISO at once."""
    with book.reading() as session:
        day = open_day(session, visitor, day_id)
    place = day.place(place_id)
    now = datetime.now(UTC)
    lit = None if stop is None else day.lit_stop(stop, now)
    used, level, moment = day.used, day.level(place, now), day.moment(now)
    if lit is not None and lit.place is not None and lit.place.number == place_id:
        used, place, level, moment = day.used_with(lit.lens), lit.place, lit.level, lit.moment
    rig = day.rig_with(used.lens)
    ways = []
    if level is not None and not cannot_wear(used.kit, place.look.worn):
        found = other_ways(used.kit, rig, level.light, place.look)
        around = Around(day.mains, sun_at(day.site, moment))
        ways = [(told_answer(used, rig, place, move, "other", around), move) for move in found]
    return draw(
        request, "day/ways.html", day=day, place=place, level=level, moment=moment, ways=ways,
        stop=None if lit is None else lit.stop, lens=None if used is day.used else used,
    )  # fmt: skip


@dataclass(frozen=True, slots=True)
class Packed:
    """A piece of the bag, as it is read: what it is, and the places that would lose without it."""

    name: str
    places: tuple[str, ...]


@router.get("/days/{day_id}/bag")
def show_bag(request: Request, book: TheBook, visitor: TheVisitor, day_id: RowNumber) -> Response:
    """The smallest bag for the day, what stays at home, and what one more filter would gain."""
    with book.reading() as session:
        day = open_day(session, visitor, day_id)
    now = datetime.now(UTC)
    try:
        bag = bag_of(day, now)
        asked = [(each.kit, each.level.light, each.look) for each in bag.packed_for]
        gains = packing.gains(asked, day.began) if asked else []
    except OutOfRange as refused:
        return draw(request, "day/bag.html", status=422, day=day, moment=day.moment(now), refused=refused)
    names = [each.name for each in bag.packed_for]
    return draw(
        request, "day/bag.html", day=day, moment=day.moment(now), refused=None, bag=bag,
        gains=[(gain, _once(names[n] for n in gain.mended), _once(names[n] for n in gain.kept)) for gain in gains],
    )  # fmt: skip


@dataclass(frozen=True, slots=True)
class BagView:
    """
    What to pack for a day.

    besides  what only another sky would ask for;  at_home  what may stay;  short  where nothing is enough [stops]
    in_doubt, left_out  whose light is stale, and where nothing could be packed for
    """

    packed_for: tuple[ToPackFor, ...]
    packed: tuple[Packed, ...]
    besides: tuple[Packed, ...]
    at_home: tuple[str, ...]
    short: tuple[tuple[str, float], ...]
    in_doubt: tuple[str, ...]
    left_out: tuple[str, ...]


def bag_of(day: Day, now: datetime) -> BagView:
    """
    The smallest bag for the running order and every other place, and what to take besides in case the sky changes.

    Raises OutOfRange for a kit that is too large to find it (`packing.pack`).
    """
    asked, left_out = to_pack_for(day, now)
    names = [each.name for each in asked]
    bag = packing.pack([(each.kit, each.level.light, each.look) for each in asked])
    skies = [
        (each.kit, light, each.look)
        for each in asked
        for light in (each.level.light, Light(each.level.low), Light(each.level.high))
    ]
    wide = packing.pack(skies)
    packed = tuple(
        Packed(piece_name(day.kit, piece), _once(names[n] for n in bag.needed_at[piece])) for piece in bag.pieces
    )
    besides = tuple(
        Packed(piece_name(day.kit, piece), _once(names[n // 3] for n in wide.needed_at[piece]))
        for piece in wide.pieces
        if piece not in bag.pieces
    )
    ids = {piece.which for piece in (*bag.pieces, *wide.pieces) if piece.what == "filter"}
    clicks = day.kit.body.clicks_per_stop
    return BagView(
        packed_for=tuple(asked),
        packed=packed,
        besides=besides,
        at_home=tuple(piece_name(day.kit, packing.Piece("filter", f.id)) for f in day.kit.filters if f.id not in ids),
        short=tuple((names[n], missed / clicks) for n, missed in bag.short.items()),
        in_doubt=_once(each.name for each in asked if each.level.trust == "stale"),
        left_out=_once(left_out),
    )


def _once(names: Iterable[str]) -> tuple[str, ...]:
    return tuple(dict.fromkeys(names))


def piece_name(kit: Kit, piece: packing.Piece) -> str:
    """What to call a piece of the bag."""
    if piece.what == "filter":
        found = kit.filter(piece.which)
        return found.name or wording.labels(kit.filters)[found.id]
    return {
        "holder": say("the holder"),
        "ring": say("its {which} mm adapter ring", which=piece.which),
        "step_up": say("the step-up ring {which} mm", which=piece.which),
    }[piece.what]


class GradForm(Form):
    """A sky reading, a ground reading, and what the shooter sees between them."""

    sky: Number
    ground: Number
    skyline: Annotated[Literal["flat", "uneven"], BeforeValidator(text)]
    wanted: NumberOrZero = 1.0

    def skies(self) -> grads.Skies:
        """The engine's value."""
        try:
            return grads.Skies(self.sky, self.ground, self.skyline, self.wanted)
        except OutOfRange as refused:
            raise OutOfRange(FIELDS.get(refused.field, refused.field), refused.came, refused.allowed) from refused

    def check(self) -> None:
        """Hold the readings to what is light."""
        self.skies()


FIELDS = {"sky_ev100": "sky", "ground_ev100": "ground", "wanted_stops": "wanted"}


@router.get("/days/{day_id}/places/{place_id}/grad")
def advise_grad(
    request: Request, book: TheBook, visitor: TheVisitor, day_id: RowNumber, place_id: RowNumber
) -> Response:
    """The form for a sky and a ground reading."""
    with book.reading() as session:
        day = open_day(session, visitor, day_id)
    place = day.place(place_id)
    return draw(
        request,
        "day/grad.html",
        day=day,
        place=place,
        level=day.level(place, datetime.now(UTC)),
        typed=Typed(),
        advice=None,
    )


@router.post("/days/{day_id}/places/{place_id}/grad")
def work_out_grad(
    request: Request, book: TheBook, visitor: TheVisitor, day_id: RowNumber, place_id: RowNumber, came: TheForm
) -> Response:
    """Which grad, in which slot, which way up, and what remains."""
    form, typed = GradForm.read(came)
    with book.reading() as session:
        day = open_day(session, visitor, day_id)
    place, kit = day.place(place_id), day.kit
    advice = None
    if form is not None:
        holder = kit.holder if kit.holder is not None and kit.holder.mounts_on(kit.lens.thread, kit.step_ups) else None
        at_hand = [
            grads.Grad(f.id, f.density, f.edge, wording.labels(kit.filters)[f.id])
            for f in kit.filters
            if f.kind == "grad" and f.edge is not None and holder is not None and holder.takes(f)
        ]
        grey = sum(not kit.filter(f).worn for f in day.rig.slots) if day.rig.holder_on else 0
        advice = grads.advise(form.skies(), at_hand, holder.slots - grey if holder is not None else 0)
    status = 200 if form is not None else 422
    return draw(
        request,
        "day/grad.html",
        status=status,
        day=day,
        place=place,
        level=day.level(place, datetime.now(UTC)),
        typed=typed,
        advice=advice,
    )
