"""
Fill an empty book with the demo: a made-up venue, one kit, and a day that has just begun, with its running order.

Nothing here is a real place, person or product. A book that has the demo already is left as it is.
"""

from __future__ import annotations

import sys
from datetime import UTC, datetime, timedelta
from typing import Any
from zoneinfo import ZoneInfo

from sqlalchemy import select

from server.book import tables
from server.book.cameras import Own, film_with
from server.book.crews import first_crew
from server.book.days import append
from server.book.people import Member
from server.book.store import Book
from server.exposure import light
from server.exposure.scales import ISO_MARKS
from server.settings import BadSetting, Settings

VENUE = "Orchard Priory"
SECOND = "Second shooter"

# name, what lights it, how it was read, the figures as typed, the look wanted there (wanted, widest, narrowest)
PLACES = (
    ("Orchard", {"light": "sun"}, "ev", {"value": 14.6, "iso": 100.0}, (2.8, 2.0, 4.0)),
    ("Chapel door", {"light": "shade"}, "lux", {"value": 6400.0}, (2.8, 2.0, 4.0)),
    ("Chapel inside", {"light": "window", "faces": 90.0}, "camera",
     {"aperture": 2.8, "shutter": 0.02, "iso": 400.0}, (2.8, 2.0, 4.0)),
    ("Jetty", {"light": "sun", "lit_from": "back", "sun_behind": 8.0}, "ev", {"value": 12.7, "iso": 100.0},
     (4.0, 2.8, 5.6)),
    ("Walled garden", {"light": "shade"}, "lux", {"value": 9000.0}, (2.8, 2.0, 4.0)),
    ("Boathouse", {"light": "lamps"}, "lux", {"value": 360.0}, (2.8, 2.0, 4.0)),
    ("Long room", {"light": "window", "lamps": 0.4}, "ev", {"value": 8.2, "iso": 100.0}, (2.8, 2.0, 4.0)),
    ("Dance floor", {"light": "lamps", "lasers": True}, "ev", {"value": 4.4, "iso": 100.0}, (2.0, 1.8, 2.8)),
)  # fmt: skip
BESIDE = {"Chapel inside": {"bright": 9.9, "dark": 3.8}}  # other parts of a place, EV

# minutes after the day is opened, and how long it lasts; what happens; where; and what is asked for there
ORDER: tuple[tuple[int, int | None, str, str, dict[str, Any]], ...] = (
    (0, 25, "Guests arrive", "Orchard", {}),
    (40, 10, "The couple walk in", "Chapel door", {"notes": "Stay on the left of the path"}),
    (50, 35, "Vows", "Chapel inside", {}),
    (90, 15, "Confetti", "Orchard", {"wanted": 4.0}),
    (120, 40, "Portraits", "Jetty", {"lens": "24-70 zoom"}),
    (170, 60, "Drinks", "Walled garden", {"lens": "35 mm prime"}),
    (260, 90, "Dinner", "", {"notes": "No camera"}),
    (360, 30, "Speeches", "Long room", {}),
    (465, 15, "First dance", "Dance floor", {"notes": "Ask about the lasers"}),
)


def one_in_the_afternoon(now: datetime) -> tuple[float, float, str]:
    """
    Latitude, longitude and time zone of a spot where it is one in the afternoon in the summer half of the year.

    The demo's day has just begun whenever it is started, and the sun must be up on it.
    """
    hours = now.hour + now.minute / 60
    longitude = round(((13 - hours) * 15 + 180) % 360 - 180, 4)
    zone = round(longitude / 15)
    # The names of these zones count the other way round.
    return 45.0 if 4 <= now.month <= 9 else -45.0, longitude, f"Etc/GMT{-zone:+d}" if zone else "UTC"


def light_of(kind: str, raw: dict[str, float]) -> light.Light:
    """What a reading's figures say."""
    if kind == "ev":
        return light.from_ev(raw["value"], raw["iso"])
    if kind == "lux":
        return light.from_lux(raw["value"])
    return light.from_camera(raw["aperture"], raw["shutter"], raw["iso"])


def readings_of(
    name: str, number: int, lit: dict[str, Any], kind: str, raw: dict[str, float], now: datetime
) -> list[tables.Reading]:
    """A place's readings: the lit face, and what was metered beside it."""
    taken_at = now - timedelta(minutes=12 if number < 4 else 60 + 5 * number)
    sky = None if lit["light"] == "lamps" else "clear"
    parts = [("face", kind, raw, light_of(kind, raw).ev100)]
    parts += [(part, "ev", {"value": ev, "iso": 100.0}, ev) for part, ev in BESIDE.get(name, {}).items()]
    return [
        tables.Reading(taken_at=taken_at, who="shooter", kind=how, raw=figures, ev100=ev100, sky=sky, part=part)
        for part, how, figures, ev100 in parts
    ]


def stops_of(day: tables.Day, opened: datetime) -> list[tables.Stop]:
    """The demo's running order, from the moment that it is opened."""
    places = {row.name: row.id for row in day.venue.places}
    lenses = {row.name: row.id for row in day.kit.lenses}
    begins = opened.hour * 60 + opened.minute
    return [
        tables.Stop(
            minutes=begins + after, second=False, lasts=lasts, name=name, place_id=places.get(place),
            lens_id=lenses.get(asked.get("lens", "")), wanted=asked.get("wanted"), notes=asked.get("notes", ""),
        )
        for after, lasts, name, place, asked in ORDER
    ]  # fmt: skip


def fill(book: Book, now: datetime, number: int | None = None) -> bool:
    """Put the demo in, for the first crew or the one of this number. False where it is there already."""
    with book.writing() as session:
        crew = first_crew(session) if number is None else session.get_one(tables.Crew, number)
        asked = select(tables.Venue.id).where(tables.Venue.name == VENUE, tables.Venue.crew_id == crew.id)
        if session.scalars(asked).first() is not None:
            return False
        kit = tables.Kit(
            crew_id=crew.id,
            name="Shoulder bag",
            hands={},
            bodies=[
                tables.Body(
                    name="Main body", clicks_per_stop=3, iso_base=[100.0], iso_quiet=400.0,
                    iso_allowed=[float(mark) for mark in ISO_MARKS if 100 <= mark <= 6400],
                    shutters=[0.02, 0.01], frame_rate=25.0, format="full_frame", built_in_nd=[0.0],
                )
            ],
            lenses=[
                tables.Lens(name="35 mm prime", widest=1.8, smallest=16.0, thread=77.0, loss_stops=0.0, focal_mm=35.0),
                tables.Lens(
                    name="24-70 zoom", widest=2.8, smallest=22.0, thread=82.0, loss_stops=0.0,
                    focal_mm=24.0, focal_long_mm=70.0,
                ),
            ],
            holders=[tables.Holder(name="100 mm holder", width=100.0, slots=2, rings=[77.0, 82.0], front=105.0)],
            filters=[
                *(
                    tables.Filter(
                        name=f"{density} plate", mount="slot", engraved=str(density), density=density,
                        width=100.0, thread=None,
                    )
                    for density in (0.6, 0.9, 1.2)
                ),
                tables.Filter(
                    name="Polariser", kind="polariser", mount="front", engraved="1⅓ stops", density=0.4, thread=105.0
                ),
                tables.Filter(
                    name="Soft grad", kind="grad", mount="slot", engraved="0.6", density=0.6, edge="soft", width=100.0
                ),
            ],
        )  # fmt: skip
        latitude, longitude, time_zone = one_in_the_afternoon(now)
        venue = tables.Venue(
            crew_id=crew.id, name=VENUE, latitude=latitude, longitude=longitude, time_zone=time_zone, mains=50,
            places=[
                tables.Place(name=name, position=number, readings=readings_of(name, number, lit, kind, raw, now), **lit)
                for number, (name, lit, kind, raw, _) in enumerate(PLACES, 1)
            ],
        )  # fmt: skip
        second = tables.Kit(
            crew_id=crew.id,
            name="Second bag",
            hands={},
            bodies=[
                tables.Body(
                    name="Small body", clicks_per_stop=3, iso_base=[200.0], iso_quiet=800.0,
                    iso_allowed=[float(mark) for mark in ISO_MARKS if 200 <= mark <= 6400],
                    shutters=[0.02, 0.01], frame_rate=25.0, format="four_thirds", built_in_nd=[0.0],
                )
            ],
            lenses=[
                tables.Lens(name="17 mm prime", widest=1.4, smallest=16.0, thread=62.0, loss_stops=0.0, focal_mm=17.0),
                tables.Lens(
                    name="12-40 zoom", widest=2.8, smallest=22.0, thread=62.0, loss_stops=0.0,
                    focal_mm=12.0, focal_long_mm=40.0,
                ),
            ],
            filters=[
                tables.Filter(
                    name="Variable ND", kind="variable_nd", mount="thread", engraved="2 stops", density=0.6,
                    density_to=2.4, thread=62.0,
                )
            ],
        )  # fmt: skip
        person = tables.Person(crew_id=crew.id, name=SECOND, role="second", joined_at=now)
        session.add_all([kit, second, person, venue])
        session.flush()
        start = {
            "holder_on": True, "slots": [str(kit.filters[0].id), str(kit.filters[2].id)], "threads": [],
            "built_in": 0.0, "aperture": 2.8, "shutter": 0.02, "iso": 100.0,
        }  # fmt: skip
        day = tables.Day(
            crew_id=crew.id, venue=venue, kit=kit, body_id=kit.bodies[0].id, lens_id=kit.lenses[0].id,
            holder_id=kit.holders[0].id, name="Midsummer wedding", start=start,
            on=now.astimezone(ZoneInfo(time_zone)).date(),
            places=[
                tables.DayPlace(
                    place_id=place.id, position=place.position, wanted=wanted, widest=widest, narrowest=narrowest,
                    shutter=0.02, tolerance=0.2, rush_tolerance=0.5, distance_m=3.0,
                    worn=[kit.filters[3].id] if place.name == "Jetty" else [],  # the polariser, for the water
                )
                for place, (*_, (wanted, widest, narrowest)) in zip(venue.places, PLACES, strict=True)
            ],
        )  # fmt: skip
        session.add(day)
        session.flush()
        day.stops = stops_of(day, now.astimezone(ZoneInfo(time_zone)))
        session.flush()
        arrived = {"place": venue.places[0].id, "stop": day.stops[0].id, "answer": "clean", "rig": start}
        append(session, day.id, "demo-arrived-at-the-orchard", "moved", arrived, "shooter", None, now)
        own = Own(second, second.bodies[0], second.lenses[0], None, "field")
        film_with(session, Member(crew.id, SECOND, "second", person.id), day, own)
    return True


def main() -> int:
    """Fill the book that the settings name."""
    try:
        book = Book(Settings.from_environment())
    except BadSetting as wrong:
        print(wrong, file=sys.stderr)
        return 2
    book.migrate()
    filled = fill(book, datetime.now(UTC))
    book.close()
    print("The demo is in the book." if filled else "The demo was in the book already.")
    return 0


if __name__ == "__main__":
    sys.exit(main())
