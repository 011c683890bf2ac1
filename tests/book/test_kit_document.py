"""A kit as a document: the same to the last digit after a round trip, and nothing that cannot be."""

from __future__ import annotations

import json
from typing import TYPE_CHECKING

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from pydantic import ValidationError

from server.book.kit_document import SCHEMA, KitDocument, document_of, kit_from
from server.book.kits import body_of, filter_of, holder_of, lens_of
from server.book.starters import STARTERS
from server.exposure.light import Light
from server.exposure.moves import best_moves, cannot_wear
from server.exposure.refused import OutOfRange
from server.exposure.rig import Kit, Look, Rig

if TYPE_CHECKING:
    from server.book import tables

NAMES = st.text(st.characters(exclude_categories=("C",)), min_size=1, max_size=20)
FIGURES = st.floats(0.3, 5.9)


@st.composite
def documents(draw: st.DrawFn) -> KitDocument:
    """Kits with odd names and figures to the last digit."""
    filters = [
        {"name": f"{draw(NAMES)} {n}", "mount": "thread", "density": draw(FIGURES), "thread": draw(st.floats(20, 150))}
        for n in range(draw(st.integers(0, 4)))
    ]
    bodies = [
        {
            "name": draw(NAMES),
            "clicks_per_stop": draw(st.sampled_from((1, 2, 3, 10))),
            "iso_base": [100.0],
            "iso_allowed": draw(st.lists(st.floats(25, 102400), min_size=1, max_size=4)),
            "shutters": draw(st.lists(st.floats(1e-4, 1), min_size=1, max_size=4)),
        }
    ]
    return KitDocument.model_validate(
        {
            "format": "lychgate-kit",
            "version": 1,
            "name": draw(NAMES),
            "hands": draw(st.dictionaries(st.sampled_from(("pull", "iris", "turn")), st.floats(0, 60))),
            "bodies": bodies,
            "filters": filters,
        }
    )


@settings(deadline=None)
@given(documents())
def test_a_kit_comes_back_the_same_to_the_last_byte(document):
    """Saved, read and saved again."""
    text = document.model_dump_json()
    again = document_of(kit_from(KitDocument.model_validate_json(text), 1)).model_dump_json()
    assert again == text


@pytest.mark.parametrize("number", range(len(STARTERS)))
def test_a_starter_kit_works(number):
    """Every lens of it, on every body, answers for sun and for a hall; and comes back the same from a file."""
    starter = STARTERS[number]
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
        ({"name": "two\nlines"}, "name"),
        ({"filters": [{"name": "a", "mount": "slot", "density": "0.6"}]}, "filters.0.density"),
        ({"filters": [{"name": "a", "mount": "slot", "density": 0.6}] * 2}, "filters"),
        ({"filters": [{"name": f"{n}", "mount": "slot", "density": 0.6} for n in range(41)]}, "filters"),
        ({"step_ups": [[67.0]]}, "step_ups.0"),
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
        ({"step_ups": [[82.0, 77.0]]}, "step_ups"),
        ({"holders": [{"name": "a", "width": 100.0, "slots": 9, "rings": []}]}, "holders.0.slots"),
    ],
)
def test_what_no_kit_can_be_is_refused_by_the_engine(change, field):
    """A density of 40, an iris that closes wider than it opens."""
    document = KitDocument.model_validate({"format": "lychgate-kit", "version": 1, "name": "x"} | change)
    with pytest.raises(OutOfRange) as refused:
        kit_from(document, 1)
    assert refused.value.field == field


def test_the_schema_says_units_and_is_a_json_schema():
    """Published for whoever writes such a file."""
    assert SCHEMA["$schema"].startswith("https://json-schema.org/")
    text = json.dumps(SCHEMA)
    assert "Marked density, D" in text
    assert "Exposure times, s" in text
