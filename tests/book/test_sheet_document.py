"""A sheet as a document: another crew's book gives back the same, and nothing that cannot be comes in."""

from __future__ import annotations

import json
from datetime import UTC, datetime, timedelta
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
from server.book.starters import starters
from server.exposure.refused import OutOfRange
from server.exposure.sun import Site
from server.pages.readings import METHODS
from server.pages.sheet_files import FILE_MOST

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
            session.add(kit_from(starters()[0].kit, crew))
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


COLUMNS = {
    "venues": ({"id", "crew_id"}, {*VenuePart.model_fields} - {"places"}),
    "places": ({"id", "venue_id", "position"}, {*PLACE_FIELDS}),
    "readings": ({"id", "place_id", "who"}, {*ReadingPart.model_fields}),
    # What is a kit's, and what the log has done to it since, stays with the crew.
    "days": (
        {"id", "crew_id", "venue_id", "kit_id", "body_id", "lens_id", "holder_id", "start", "stamp"},
        {*DayPart.model_fields} - {"looks", "order"},
    ),
    "day_places": ({"id", "day_id", "place_id", "position", "worn"}, {*LOOK_FIELDS}),
    "stops": ({"id", "day_id", "uid", "place_id", "lens_id"}, {*StopPart.model_fields} - {"place"}),
}


@pytest.mark.parametrize("table", COLUMNS)
def test_every_column_is_in_the_document_or_stays_with_the_crew(table):
    """Whoever adds a column says which: it must not be lost on the way, nor told to strangers unasked."""
    own, told = COLUMNS[table]
    assert set(tables.Table.metadata.tables[table].columns.keys()) == own | told
    assert not own & told


def test_every_way_to_read_the_light_can_be_written_down():
    assert set(get_args(Kind)) == {*METHODS, NUDGED}
    assert set(get_args(Figure)) == set(FIGURES)


@pytest.mark.parametrize(
    ("where", "told"),
    [((51.4779, -0.0015), (51.5, 0.0)), ((-33.8568, 151.2153), (-33.9, 151.2)), ((-0.04, 179.96), (0.0, 180.0))],
)
def test_coarse_coordinates_are_tenths_of_a_degree_without_a_sign_of_what_was_cut_off(where, told):
    found = coarse(Site(*where))
    assert (found.latitude, found.longitude) == told
    assert "-0.0" not in repr(found)


def test_coordinates_and_photos_own_are_coarse_or_left_out_where_they_are_not_to_be_told(kept):
    with kept.begin_nested() as before:
        document = plain()
        document.venue.latitude, document.venue.longitude = 51.47791, -0.31415
        where = {"latitude": 51.47792, "longitude": -0.31416}
        shot = {"kind": "photo", "raw": {"aperture": 1.8, "shutter": 0.01, "iso": 64, **where}, "ev100": 10.0,
                "taken_at": "2026-06-01T10:00:00Z"}  # fmt: skip
        document.venue.places[0].readings = [ReadingPart.model_validate_json(json.dumps(shot))]
        day = brought(kept, document, 1)
        exact, cut = (json.loads(written(kept, 1, day, exact=each)) for each in (True, False))
        assert exact["venue"]["places"][0]["readings"][0]["raw"]["latitude"] == 51.47792
        assert (cut["venue"]["latitude"], cut["venue"]["longitude"]) == (51.5, -0.3)
        assert set(cut["venue"]["places"][0]["readings"][0]["raw"]) == {"aperture", "shutter", "iso"}
        assert "477" not in json.dumps(cut)
        assert "141" not in json.dumps(cut)
        before.rollback()


def plain(**changes: object) -> SheetDocument:
    """A small sheet."""
    return SheetDocument.model_validate_json(json.dumps({
        "format": "lychgate-sheet", "version": 1,
        "venue": {"name": "Old mill", "time_zone": "Europe/London", "places": [{"name": "Barn", "light": "shade"}]},
        "day": {"name": "Harvest", "on": "2026-06-20", "looks": [{
            "place": 0, "wanted": 2.8, "widest": 2.0, "narrowest": 4.0, "shutter": 0.02, "tolerance": 0.2,
            "rush_tolerance": 0.5,
        }]},
    } | changes))  # fmt: skip


READ = {"kind": "ev", "raw": {"value": 9, "iso": 100}, "ev100": 9, "taken_at": "2026-06-01T10:00:00Z"}
STOP = {"name": "Vows", "minutes": 600}
REFUSED = {
    "a name of blanks": ("venue.name", "  "),
    "a name that cannot be seen": ("venue.places.0.name", "Barn\u202e"),
    "a script is a name; two lines are none": ("day.order.0.notes", "one\ntwo"),
    "one coordinate": ("venue.latitude", 51.0),
    "no such zone": ("venue.time_zone", "Europe/Nowhere"),
    "a zone that is a file's path": ("venue.time_zone", "../../etc/passwd"),
    "a bearing off the rose": ("venue.places.0.faces", 361.0),
    "more lamps than light": ("venue.places.0.lamps", 1.5),
    "a level beyond the sun's": ("venue.places.0.readings.0.ev100", 99.0),
    "a time to come": ("venue.places.0.readings.0.taken_at", "2036-06-01T10:00:00Z"),
    "a time before there was any": ("venue.places.0.readings.0.taken_at", "0001-01-01T00:00:00Z"),
    "a figure off its dial": ("venue.places.0.readings.0.raw.iso", 0.0),
    "a figure that its method needs": ("venue.places.0.readings.0.raw", {"iso": 100.0}),
    "half of a place on earth": ("venue.places.0.readings.0.raw.latitude", 51.0),
    "a year without an ephemeris": ("day.on", "3026-06-20"),
    "a look at no place": ("day.looks.0.place", 1),
    "a look that closes before it opens": ("day.looks.0.widest", 8.0),
    "a shutter of no time": ("day.looks.0.shutter", 0.0),
    "a subject behind the lens": ("day.looks.0.distance_m", 0.0),
    "a stop at no place": ("day.order.0.place", 7),
    "a stop that closes before it opens": ("day.order.0.wanted", 0.1),
}


def changed(document: SheetDocument, path: str, value: object) -> str:
    """The document's text with something else at a path."""
    said = document.model_dump(mode="json")
    said["venue"]["places"][0]["readings"] = [dict(READ, raw=dict(READ["raw"]))]
    said["day"]["order"] = [dict(STOP)]
    *way, last = (int(step) if step.isdigit() else step for step in path.split("."))
    at = said
    for step in way:
        at = at[step]
    at[last] = value
    return json.dumps(said)


@pytest.mark.parametrize(("path", "value"), REFUSED.values(), ids=REFUSED)
def test_what_no_venue_or_day_can_be_is_refused_by_its_path(path, value):
    check(SheetDocument.model_validate_json(changed(plain(), "venue.name", "Mill")), NOW)
    document = SheetDocument.model_validate_json(changed(plain(), path, value))
    with pytest.raises(OutOfRange) as refused:
        check(document, NOW)
    assert refused.value.field.startswith(path.rpartition(".")[0])


def test_an_hour_that_the_clocks_go_over_is_refused():
    """London, 29 March 2026: from 01:00 GMT the clocks show 02:00."""
    said = json.loads(changed(plain(), "day.on", "2026-03-29"))
    said["day"]["order"][0]["minutes"] = 90
    with pytest.raises(OutOfRange, match="clocks go over"):
        check(SheetDocument.model_validate_json(json.dumps(said)), NOW)


SHAPELESS = {
    "another format": ("format", "lychgate-kit"),
    "a version to come": ("version", 2),
    "a field of somebody else's": ("venue.price", 3),
    "a number in words": ("venue.latitude", "51.5"),
    "a time without its offset": ("venue.places.0.readings.0.taken_at", "2026-06-01T10:00:00"),
    "a time as a number": ("venue.places.0.readings.0.taken_at", 1780000000),
    "a method of somebody else's": ("venue.places.0.readings.0.kind", "guess"),
    "a figure of somebody else's": ("venue.places.0.readings.0.raw", {"value": 9.0, "event": 1.0}),
    "minutes of another week": ("day.order.0.minutes", 10_080),
    "a name longer than any": ("venue.name", "a" * 81),
    "a hundred and one readings": ("venue.places.0.readings", [READ] * 101),
    "two hundred and one places": ("venue.places", [{"name": "Barn", "light": "shade"}] * 201),
    "too many readings in all": ("venue.places", [{"name": "B", "light": "shade", "readings": [READ] * 100}] * 11),
    "a hundred and one stops": ("day.order", [STOP] * 101),
    "hours of another clock": ("day.seen_at", "25:00"),
}


@pytest.mark.parametrize(("path", "value"), SHAPELESS.values(), ids=SHAPELESS)
def test_what_the_schema_does_not_have_is_refused(path, value):
    with pytest.raises(ValidationError):
        SheetDocument.model_validate_json(changed(plain(), path, value))


@pytest.mark.parametrize("token", ["NaN", "Infinity", "-Infinity", "1e999"])
def test_numbers_are_numbers(token):
    text = changed(plain(), "venue.places.0.lamps", 0.123456).replace("0.123456", token)
    with pytest.raises(ValidationError):
        SheetDocument.model_validate_json(text)


def test_the_schema_is_one_of_the_standard_it_names():
    Draft202012Validator.check_schema(SCHEMA)
    assert SCHEMA["$schema"] == "https://json-schema.org/draft/2020-12/schema"


def test_of_many_readings_the_newest_are_written(kept):
    """A sheet stays one that can be brought in, however long a venue is in use."""
    with kept.begin_nested() as before:
        number = brought(kept, plain(), 1)
        place = kept.query(tables.Place).order_by(tables.Place.id.desc()).first()
        for minute in range(130):
            kept.add(tables.Reading(place_id=place.id, who="Robin", kind="ev", raw={"value": 9.0}, ev100=9.0,
                                    taken_at=NOW - timedelta(minutes=minute)))  # fmt: skip
        kept.flush()
        kept.expire_all()
        (there,) = json.loads(written(kept, 1, number))["venue"]["places"]
        assert len(there["readings"]) == 100
        assert there["readings"][-1]["taken_at"] == "2026-06-20T12:00:00Z"
        assert "Robin" not in json.dumps(there)
        before.rollback()


def test_the_largest_sheet_is_a_file_that_may_be_sent():
    """Names and notes of the longest letters, figures of the most digits."""
    figure, name = 1.2345678901234567e-05, "𝔸" * 80
    dials = {each: 0.12345678901234567 for each in FIGURES if each not in ("value", "clicks")}
    reading = {"kind": "luminance", "raw": dials, "ev100": figure, "taken_at": "2026-06-01T10:00:00.123456Z",
               "logged_at": "2026-06-01T10:00:00.123456Z", "sky": "overcast", "part": "bright"}  # fmt: skip
    place = {
        "name": name,
        "light": "window",
        "faces": figure,
        "lamps": figure,
        "sun_over": figure,
        "sun_behind": figure,
    }
    look = {"place": 199, "wanted": figure, "widest": figure, "narrowest": figure, "shutter": figure, "tolerance": figure,
            "rush_tolerance": figure, "distance_m": figure}  # fmt: skip
    stop = {"name": name, "minutes": 1000, "lasts": 700, "place": 199, "wanted": figure, "widest": figure,
            "narrowest": figure, "notes": "𝔸" * 500}  # fmt: skip
    said = {
        "format": "lychgate-sheet", "version": 1,
        "venue": {"name": name, "time_zone": "Europe/London", "places": [place | {"readings": [reading] * 5}] * 200},
        "day": {"name": name, "on": "2026-06-20", "looks": [look] * 200, "order": [stop] * 100},
    }  # fmt: skip
    assert len(SheetDocument.model_validate_json(json.dumps(said)).model_dump_json().encode()) <= FILE_MOST
