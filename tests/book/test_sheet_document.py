"""A sheet as a document: another crew's book gives back the same, and nothing that cannot be comes in."""

from __future__ import annotations

import json
from datetime import UTC, date, datetime, timedelta
from typing import TYPE_CHECKING, get_args

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from jsonschema import Draft202012Validator
from pydantic import ValidationError
from sqlalchemy import create_engine
from sqlalchemy.orm import Session

from server.book import tables
from server.book.days import open_day
from server.book.kit_document import kit_from
from server.book.order import FIRST, LAST, LASTS_MOST
from server.book.people import first_camera
from server.book.report import NUDGED
from server.book.sheet_document import (
    FIGURES,
    LOOK_FIELDS,
    NEEDED,
    PLACE_FIELDS,
    SCHEMA,
    DayPart,
    Figure,
    Kind,
    ReadingPart,
    SheetDocument,
    StopPart,
    VenuePart,
    check,
    coarse,
    day_from,
    document_of,
    venue_from,
)
from server.book.starters import STARTERS
from server.exposure.refused import OutOfRange
from server.exposure.sun import Site
from server.pages.readings import METHODS

if TYPE_CHECKING:
    from collections.abc import Iterator

NOW = datetime(2026, 6, 20, 12, tzinfo=UTC)
NAMES = st.text(st.characters(exclude_categories=("C", "Z")), min_size=1, max_size=20)
TIMES = st.datetimes(datetime(1990, 1, 1), datetime(2026, 6, 20), timezones=st.just(UTC))  # noqa: DTZ001 - zones apart


def maybe(each: st.SearchStrategy[object]) -> st.SearchStrategy[object]:
    return st.none() | each


@st.composite
def readings(draw: st.DrawFn) -> dict[str, object]:
    kind = draw(st.sampled_from(get_args(Kind)))
    names = {*NEEDED[kind], *draw(st.sets(st.sampled_from(sorted(set(FIGURES) - {"latitude", "longitude"}))))}
    names |= {"latitude", "longitude"} if draw(st.booleans()) else set()
    return {
        "kind": kind, "raw": {name: draw(st.floats(*FIGURES[name])) for name in sorted(names)},
        "ev100": draw(st.floats(-12, 33)), "taken_at": draw(TIMES).isoformat(),
        "logged_at": draw(maybe(TIMES.map(datetime.isoformat))),
        "sky": draw(st.sampled_from((None, "clear", "partly", "overcast"))),
        "part": draw(st.sampled_from(("face", "bright", "dark"))),
    }  # fmt: skip


PLACES = st.fixed_dictionaries({
    "name": NAMES, "light": st.sampled_from(("sun", "shade", "window", "lamps")),
    "lit_from": st.sampled_from(("front", "side", "back", "above")), "faces": maybe(st.floats(0, 360)),
    "lamps": st.floats(0, 1), "sun_over": st.floats(0, 60), "sun_behind": st.floats(0, 60), "lasers": st.booleans(),
    "readings": st.lists(readings(), max_size=3),
})  # fmt: skip
IRISES = st.lists(st.floats(0.7, 60), min_size=3, max_size=3, unique=True).map(sorted)


@st.composite
def documents(draw: st.DrawFn) -> SheetDocument:
    places = draw(st.lists(PLACES, min_size=1, max_size=4))
    where = draw(maybe(st.tuples(st.floats(-90, 90), st.floats(-180, 180)))) or (None, None)
    looks, order = [], []
    for place in draw(st.permutations(range(len(places)))):
        widest, wanted, narrowest = draw(IRISES)
        looks.append({
            "place": place, "wanted": wanted, "widest": widest, "narrowest": narrowest,
            "shutter": draw(st.floats(1e-4, 10)), "tolerance": draw(st.floats(0, 0.33)),
            "rush_tolerance": draw(st.floats(0, 1)), "long_end": draw(st.booleans()),
            "distance_m": draw(maybe(st.floats(0.05, 10_000))),
        })  # fmt: skip
    for _ in range(draw(st.integers(0, 4))):
        asked = dict(zip(("widest", "wanted", "narrowest"), draw(IRISES), strict=True))
        order.append({
            "name": draw(NAMES), "minutes": draw(st.integers(FIRST, LAST - 1)), "second": draw(st.booleans()),
            "lasts": draw(maybe(st.integers(1, LASTS_MOST))), "notes": draw(st.just("") | NAMES),
            "place": draw(maybe(st.integers(0, len(places) - 1))),
            **{name: value for name, value in asked.items() if draw(st.booleans())},
        })  # fmt: skip
    return SheetDocument.model_validate_json(json.dumps({
        "format": "lychgate-sheet", "version": 1,
        "venue": {
            "name": draw(NAMES), "latitude": where[0], "longitude": where[1], "places": places,
            # The clocks of these have no hour that is left out in the days around.
            "time_zone": draw(st.sampled_from(("UTC", "Asia/Kathmandu", "Europe/London"))),
            "mains": draw(st.sampled_from((None, 50, 60))),
        },
        "day": {
            # The clocks go back in London on the second of these: some hours come twice.
            "name": draw(NAMES), "on": draw(st.sampled_from(("2026-06-20", "2026-10-24", "2026-10-25"))),
            "seen_at": draw(st.sampled_from(("00:00", "14:00", "23:59"))), "steady": draw(st.booleans()),
            "looks": looks, "order": order,
        },
    }))  # fmt: skip


@pytest.fixture(scope="module")
def kept() -> Iterator[Session]:
    """A database in memory with two crews, each with a kit."""
    engine = create_engine("sqlite://")
    tables.Table.metadata.create_all(engine)
    with Session(engine) as session:
        for crew in (1, 2):
            session.add(tables.Crew(name=f"Crew {crew}"))
            session.add(kit_from(STARTERS[0].kit, crew))
        session.commit()
        yield session
    engine.dispose()


def brought(session: Session, document: SheetDocument, crew: int) -> int:
    """The day of a document, in a crew's book."""
    check(document, NOW)
    venue = venue_from(document, crew)
    session.add(venue)
    session.flush()
    day = day_from(document, venue, session.get_one(tables.Kit, crew))
    session.add(day)
    session.flush()
    number = day.id
    session.expire_all()  # what the database gives back, not what was put in
    return number


def written(session: Session, crew: int, day: int, *, exact: bool = True) -> str:
    return document_of(session, crew, open_day(session, first_camera(crew), day), exact=exact).model_dump_json()


@settings(deadline=None)
@given(documents(), st.booleans())
def test_another_crews_book_gives_back_the_same_sheet_to_the_last_byte(kept, document, exact):
    """Written, brought into another crew, and written there: by way of the database, floats to the last digit."""
    with kept.begin_nested() as before:
        first = written(kept, 1, brought(kept, document, 1), exact=exact)
        assert not list(Draft202012Validator(SCHEMA).iter_errors(json.loads(first)))
        again = SheetDocument.model_validate_json(first)
        assert written(kept, 2, brought(kept, again, 2)) == first
        before.rollback()


@settings(deadline=None)
@given(documents())
def test_a_sheet_holds_all_that_was_brought_in(kept, document):
    """Nothing of a document is lost on the way: but for the order of what is sorted, it is the same."""
    with kept.begin_nested() as before:
        came = SheetDocument.model_validate_json(written(kept, 1, brought(kept, document, 1)))
        assert came.venue.model_dump(exclude={"places"}) == document.venue.model_dump(exclude={"places"})
        for there, asked in zip(came.venue.places, document.venue.places, strict=True):
            assert there.model_dump(exclude={"readings"}) == asked.model_dump(exclude={"readings"})
            assert there.readings == sorted(asked.readings, key=lambda reading: reading.taken_at)
        assert came.day.looks == document.day.looks
        assert sorted(each.name for each in came.day.order) == sorted(each.name for each in document.day.order)
        before.rollback()
