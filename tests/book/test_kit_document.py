"""A kit as a document: the same to the last digit after a round trip, and nothing that cannot be."""

from __future__ import annotations

import re
from typing import TYPE_CHECKING

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from pydantic import ValidationError
from sqlalchemy import create_engine
from sqlalchemy.orm import Session

from server.book import tables
from server.book.kit_document import SCHEMA, KitDocument, document_of, kit_from
from server.book.kits import body_of, filter_of, holder_of, lens_of
from server.book.starters import starters
from server.exposure.depth import FORMATS
from server.exposure.light import Light
from server.exposure.moves import best_moves, cannot_wear
from server.exposure.refused import OutOfRange
from server.exposure.rig import Hands, Kit, Look, Rig

if TYPE_CHECKING:
    from collections.abc import Iterator

NAMES = st.text(st.characters(exclude_categories=("C", "Z")), min_size=1, max_size=20)


def some(each: st.SearchStrategy[float], most: int, least: int = 1) -> st.SearchStrategy[list[float]]:
    return st.lists(each, min_size=least, max_size=most, unique=True)


def maybe(each: st.SearchStrategy[object]) -> st.SearchStrategy[object]:
    return st.none() | each


SIZES, DENSITIES = st.floats(10, 200), st.floats(0, 6)
BODIES = st.fixed_dictionaries({
    "name": NAMES, "clicks_per_stop": st.sampled_from((1, 2, 3, 10)), "iso_base": some(st.floats(25, 102400), 4),
    "iso_allowed": some(st.floats(25, 102400), 4), "iso_quiet": maybe(st.floats(25, 102400)),
    "shutters": some(st.floats(1e-5, 3600), 4), "frame_rate": maybe(st.floats(1, 1000)),
    "format": maybe(st.sampled_from([each.id for each in FORMATS])), "built_in_nd": some(st.floats(0, 20), 4),
})  # fmt: skip
LENSES = st.fixed_dictionaries({
    "name": NAMES, "widest": st.floats(0.5, 2), "smallest": st.floats(8, 128), "widest_long": maybe(st.floats(3, 7)),
    "thread": maybe(SIZES), "loss_stops": st.floats(0, 5), "focal_mm": maybe(st.floats(1, 50)),
    "focal_long_mm": maybe(st.floats(51, 2000)),
})  # fmt: skip
HOLDERS = st.fixed_dictionaries({
    "name": NAMES, "width": st.floats(10, 300), "slots": st.integers(1, 4), "rings": some(SIZES, 4, 0),
    "front": maybe(SIZES),
})  # fmt: skip
GLASS = {
    "name": NAMES, "engraved": st.just("") | NAMES, "density": DENSITIES, "measured": maybe(DENSITIES),
    "measured_spread": maybe(st.floats(0, 6)), "width": maybe(st.floats(10, 300)), "thread": SIZES,
}  # fmt: skip
FILTERS = st.one_of(
    st.fixed_dictionaries(GLASS | {"kind": st.just("nd"), "mount": st.sampled_from(("slot", "thread"))}),
    st.fixed_dictionaries(
        GLASS | {"kind": st.just("grad"), "mount": st.just("slot"), "edge": st.sampled_from(("soft", "hard"))}
    ),
    st.fixed_dictionaries(
        GLASS
        | {
            "kind": st.sampled_from(("polariser", "diffusion", "colour")),
            "mount": st.sampled_from(("front", "thread", "slot")),
        }
    ),
    st.fixed_dictionaries(
        GLASS
        | {"kind": st.just("variable_nd"), "mount": st.just("thread"), "density": st.floats(0, 2)}
        | {"density_to": st.floats(2.1, 6), "measured": st.none()}
    ),
)


def things(each: st.SearchStrategy[dict[str, object]]) -> st.SearchStrategy[list[dict[str, object]]]:
    return st.lists(each, max_size=3, unique_by=lambda thing: thing["name"])


DOCUMENTS = st.fixed_dictionaries({
    "format": st.just("lychgate-kit"), "version": st.just(1), "name": NAMES,
    "hands": st.dictionaries(st.sampled_from(tuple(Hands.__dataclass_fields__)), st.floats(0, 3600)),
    "step_ups": st.lists(st.tuples(st.floats(10, 90), st.floats(91, 200)).map(list), max_size=3),
    "bodies": things(BODIES), "lenses": things(LENSES), "holders": things(HOLDERS), "filters": things(FILTERS),
})  # fmt: skip


@pytest.fixture(scope="module")
def kept() -> Iterator[Session]:
    """A database in memory with the tables."""
    engine = create_engine("sqlite://")
    tables.Table.metadata.create_all(engine)
    with Session(engine) as session:
        session.add(tables.Crew(name="Crew"))
        session.commit()
        yield session
    engine.dispose()


def saved(session: Session, text: str) -> str:
    """A file, read into the book and saved from it again."""
    kit = kit_from(KitDocument.model_validate_json(text), 1)
    session.add(kit)
    session.flush()
    session.expire_all()  # what the database gives back, not what was put in
    return document_of(kit).model_dump_json()


@settings(deadline=None)
@given(DOCUMENTS)
def test_a_kit_comes_back_the_same_to_the_last_byte(kept, typed):
    """Saved, read and saved again, by way of the database; every column, floats to the last digit."""
    with kept.begin_nested() as before:
        document = KitDocument.model_validate(typed)
        first = saved(kept, document.model_dump_json())
        assert KitDocument.model_validate_json(first) == document
        assert saved(kept, first) == first
        before.rollback()


def test_every_column_of_a_kit_is_in_its_document():
    """Whoever adds a column must not lose it on the way through a file."""
    here = {"id", "kit_id", "crew_id", "stamp"}
    columns = {"kits": set(KitDocument.model_fields) - {"format", "version", "bodies", "lenses", "holders", "filters"}}
    for name in ("bodies", "lenses", "holders", "filters"):
        (part,) = KitDocument.model_fields[name].annotation.__args__
        columns[name] = set(part.model_fields)
    for name, fields in columns.items():
        assert set(tables.Table.metadata.tables[name].columns.keys()) - here == fields, name


def test_a_kit_shares_nothing_with_the_starter_that_it_was_made_from():
    """One shooter's own ring must not be in everybody's next kit."""
    starter = next(each.kit for each in starters() if each.kit.step_ups)
    before = starter.model_dump_json()
    kit = kit_from(starter, 1)
    kit.step_ups[0][0] = 49.0
    kit.hands["pull"] = 9.0
    kit.bodies[0].shutters.append(1.0)
    assert starter.model_dump_json() == before


@pytest.mark.parametrize("number", range(len(starters())))
def test_a_starter_kit_works(number):
    """Every lens of it, on every body, answers for sun and for a hall; and comes back the same from a file."""
    starter = starters()[number]
    kit = kit_from(starter.kit, 1)
    assert document_of(kit) == starter.kit
    for each, row in enumerate(kit.filters):  # the numbers that the book would give them
        row.id = each + 1
    for body in kit.bodies:
        for lens in kit.lenses:
            in_hand = engine_kit(kit, body, lens)
            rig = Rig(False, (), (), body.built_in_nd[0], lens.widest, body.shutters[0], body.iso_base[0])
            wide = max(lens.widest, 2.8)
            look = Look(wide, lens.widest, 8, body.shutters[0])
            sun, hall = best_moves(in_hand, rig, [(Light(15.0), look), (Light(7.0), look)])
            assert sun.clean.score.miss == hall.clean.score.miss == 0, (body.name, lens.name)
            assert not any(cannot_wear(in_hand, frozenset({f.id})) for f in in_hand.filters if f.worn), lens.name


BODY = {"name": "a", "clicks_per_stop": 3, "iso_base": [100.0], "iso_allowed": [100.0], "shutters": [0.02]}
LENS = {"name": "a", "widest": 2.8, "smallest": 16.0}


def engine_kit(kit: tables.Kit, body: tables.Body, lens: tables.Lens) -> Kit:
    """The kit as the engine knows it."""
    return Kit(
        body_of(body),
        lens_of(lens),
        holder_of(kit.holders[0] if kit.holders else None),
        tuple(filter_of(row) for row in kit.filters),
        step_ups=tuple((a, b) for a, b in kit.step_ups),
    )


@pytest.mark.parametrize(
    ("change", "path"),
    [
        ({"version": 2}, "version"),
        ({"format": "another"}, "format"),
        ({"unknown": 1}, "unknown"),
        ({"name": ""}, "name"),
        ({"filters": [{"name": "a", "mount": "slot", "density": "0.6"}]}, "filters.0.density"),
        ({"filters": [{"name": "a", "mount": "slot", "density": 0.6}] * 2}, "filters"),
        ({"filters": [{"name": f"{n}", "mount": "slot", "density": 0.6} for n in range(41)]}, "filters"),
        ({"step_ups": [[67.0]]}, "step_ups.0"),
        ({"hands": {"pull": float("nan")}}, "hands.pull"),
        ({"lenses": [{"name": "a", "widest": float("inf"), "smallest": 16.0}]}, "lenses.0.widest"),
        ({"name": "a" * 81}, "name"),
    ],
)
def test_what_is_no_kit_is_refused_with_its_path(change, path):
    """Another version, a word for a number, two things of one name."""
    with pytest.raises(ValidationError) as refused:
        KitDocument.model_validate({"format": "lychgate-kit", "version": 1, "name": "x"} | change)
    assert ".".join(str(part) for part in refused.value.errors()[0]["loc"]) == path


@pytest.mark.parametrize(
    ("change", "field"),
    [
        ({"filters": [{"name": "a", "mount": "slot", "density": 40.0}]}, "filters.0.density"),
        ({"lenses": [{"name": "a", "widest": 8.0, "smallest": 2.8}]}, "lenses.0.widest"),
        ({"hands": {"juggle": 1.0}}, "hands"),
        ({"hands": {"pull": -1.0}}, "hands.pull"),
        ({"step_ups": [[62.0, 77.0], [82.0, 77.0]]}, "step_ups.1"),
        ({"step_ups": [[77.0, 77.0]]}, "step_ups.0"),
        ({"bodies": [BODY | {"format": "huge"}]}, "bodies.0.format"),
        ({"bodies": [BODY, BODY | {"name": "b", "iso_base": [0.0]}]}, "bodies.1.iso_base"),
        ({"lenses": [LENS | {"focal_mm": 0.0}]}, "lenses.0.focal_mm"),
        ({"lenses": [LENS | {"focal_mm": 70.0, "focal_long_mm": 24.0}]}, "lenses.0.focal_long_mm"),
        ({"lenses": [LENS, LENS | {"name": "a "}]}, "lenses.1.name"),
        ({"filters": [{"name": "a", "mount": "slot", "density": 0.6, "engraved": "\n"}]}, "filters.0.engraved"),
        *(({"name": name}, "name") for name in (" ", "two\nlines", "\u200b", "\u202eb", " a", "a  b", "a\u2028b")),
        ({"holders": [{"name": "a", "width": 100.0, "slots": 9, "rings": []}]}, "holders.0.slots"),
    ],
)
def test_what_no_kit_can_be_is_refused_by_the_engine(change, field):
    """A density of 40, an iris that closes wider than it opens, a sensor that nobody knows, a name of blanks."""
    document = KitDocument.model_validate({"format": "lychgate-kit", "version": 1, "name": "x"} | change)
    with pytest.raises(OutOfRange) as refused:
        kit_from(document, 1)
    assert refused.value.field == field


def test_the_schema_says_units_and_is_a_json_schema():
    """Published for whoever writes such a file."""
    assert SCHEMA["$schema"].startswith("https://json-schema.org/")
    parts = {"KitDocument": SCHEMA, **SCHEMA["$defs"]}
    said = {(name, field): info for name, part in parts.items() for field, info in part["properties"].items()}
    assert not [path for path, info in said.items() if not info.get("description") or not info.get("title")]
    units = {"thread": "mm", "width": "mm", "front": "mm", "focal_mm": "mm", "density": "D", "density_to": "D",
             "measured": "D", "shutters": "s", "built_in_nd": "stops", "loss_stops": "stops", "frame_rate": "1/s"}  # fmt: skip
    for (name, field), info in said.items():
        if field in units:
            assert re.search(rf"\b{units[field]}\b", info["description"]), (name, field)
    assert set(SCHEMA["properties"]["hands"]["propertyNames"]["enum"]) == set(Hands.__dataclass_fields__)
