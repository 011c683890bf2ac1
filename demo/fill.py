"""
Fill an empty book with the demo: a made-up venue, one kit, and a day that has just begun.

Nothing here is a real place, person or product. A book that has the demo already is left as it is.
"""

from __future__ import annotations

import sys
from datetime import UTC, datetime, timedelta

from sqlalchemy import select

from server.book import tables
from server.book.crews import first_crew
from server.book.days import append
from server.book.store import Book
from server.exposure import light
from server.exposure.scales import ISO_MARKS
from server.settings import BadSetting, Settings

VENUE = "Orchard Priory"

# name, kind of light, how it was read, the figures as typed, the look wanted there (wanted, widest, narrowest)
PLACES = (
    ("Orchard", "sun", "ev", {"value": 14.6, "iso": 100.0}, (2.8, 2.0, 4.0)),
    ("Chapel door", "shade", "lux", {"value": 6400.0}, (2.8, 2.0, 4.0)),
    ("Chapel inside", "window", "camera", {"aperture": 2.8, "shutter": 0.02, "iso": 400.0}, (2.8, 2.0, 4.0)),
    ("Jetty", "sun", "ev", {"value": 15.3, "iso": 100.0}, (4.0, 2.8, 5.6)),
    ("Walled garden", "shade", "lux", {"value": 9000.0}, (2.8, 2.0, 4.0)),
    ("Boathouse", "lamps", "lux", {"value": 360.0}, (2.8, 2.0, 4.0)),
    ("Long room", "window", "ev", {"value": 8.2, "iso": 100.0}, (2.8, 2.0, 4.0)),
    ("Dance floor", "lamps", "ev", {"value": 4.4, "iso": 100.0}, (2.0, 1.8, 2.8)),
)


def light_of(kind: str, raw: dict[str, float]) -> light.Light:
    """What a reading's figures say."""
    if kind == "ev":
        return light.from_ev(raw["value"], raw["iso"])
    if kind == "lux":
        return light.from_lux(raw["value"])
    return light.from_camera(raw["aperture"], raw["shutter"], raw["iso"])


def fill(book: Book, now: datetime) -> bool:
    """Put the demo in. False where it is there already."""
    with book.writing() as session:
        crew = first_crew(session)
        if session.scalars(select(tables.Venue.id).where(tables.Venue.name == VENUE)).first() is not None:
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
        venue = tables.Venue(
            crew_id=crew.id, name=VENUE, latitude=51.75, longitude=-2.2, time_zone="Europe/London",
            places=[
                tables.Place(
                    name=name, light=kind_of_light, position=number,
                    readings=[
                        tables.Reading(
                            taken_at=now - timedelta(minutes=12 if number < 4 else 60 + 5 * number), who="shooter",
                            kind=kind, raw=raw, ev100=light_of(kind, raw).ev100,
                        )
                    ],
                )
                for number, (name, kind_of_light, kind, raw, _) in enumerate(PLACES, 1)
            ],
        )  # fmt: skip
        session.add_all([kit, venue])
        session.flush()
        start = {
            "holder_on": True, "slots": [str(kit.filters[0].id), str(kit.filters[2].id)], "threads": [],
            "built_in": 0.0, "aperture": 2.8, "shutter": 0.02, "iso": 100.0,
        }  # fmt: skip
        day = tables.Day(
            crew_id=crew.id, venue=venue, kit=kit, body_id=kit.bodies[0].id, lens_id=kit.lenses[0].id,
            holder_id=kit.holders[0].id, name="Midsummer wedding", on=now.date(), start=start,
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
        arrived = {"place": venue.places[0].id, "answer": "clean", "rig": start}
        append(session, day.id, "demo-arrived-at-the-orchard", "moved", arrived, "shooter", now)
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
