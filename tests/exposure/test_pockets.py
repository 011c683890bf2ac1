"""
The pocket's tables, held to the solver that answers on the day page, level by level.

What a rig without a table takes from another one's is held to what the module says of it: the same picture.
"""

from __future__ import annotations

from itertools import product
from typing import TYPE_CHECKING

from hypothesis import given, settings

from server.exposure import pockets
from server.exposure.glass import Filter, Holder
from server.exposure.light import Light
from server.exposure.moves import answering_rigs, best_moves
from server.exposure.pockets import TENTHS, Pocket, Span, pocket
from server.exposure.rig import Body, Kit, Lens, Look, Rig
from tests.exposure.strategies import questions

if TYPE_CHECKING:
    from server.exposure.moves import Score

KIT = Kit(
    Body(clicks_per_stop=3, iso_base=(400,), iso_allowed=(400, 800, 1600), shutters=(1 / 50, 1 / 100)),
    Lens(widest=2.0, smallest=16, thread=77),
    Holder(slots=2, width=100, rings=(77,)),
    tuple(Filter(f"nd{n}", "slot", n / 10, 100) for n in (6, 9, 12)),
)
BARE = Rig(False, (), (), 0, 2.8, 1 / 50, 400)
OUT = Span(Look(2.8, 2.0, 4.0, 1 / 50), 70, 150)
IN = Span(Look(2.0, 2.0, 2.8, 1 / 50), 20, 90)


def answers_of(its: Pocket, rig: Rig, span: int, level: int) -> tuple[Rig, Rig | None]:
    """The row that a phone picks: the last one that starts at or below the level."""
    clean, fast = (
        max(run for run in runs if run[0] <= level)[1] for runs in its.tables[its.rigs.index(rig)][span]
    )  # fmt: skip
    return its.rigs[clean], None if fast < 0 else its.rigs[fast]


@settings(max_examples=400, deadline=None)
@given(questions())
def test_the_rigs_alone_are_those_of_the_moves(question):
    kit, rig, places = question
    asked = [(Light(ev100), look) for ev100, look in places]
    moves = best_moves(kit, rig, asked)
    expected = [(each.clean.rig, each.fast.rig if each.worth_rushing else None) for each in moves]
    assert answering_rigs(kit, rig, asked) == expected


def test_every_level_of_every_table_is_what_the_solver_answers():
    its = pocket(KIT, BARE, (OUT, IN), ((0, 146), (1, 44)))
    assert len(its.tables) > 20
    for number in its.tables:
        rig = its.rigs[number]
        for at, span in enumerate((OUT, IN)):
            levels = range(span.low, span.high + 1)
            moves = best_moves(KIT, rig, [(Light(level / TENTHS), span.look) for level in levels])
            for level, move in zip(levels, moves, strict=True):
                expected = move.clean.rig, move.fast.rig if move.worth_rushing else None
                assert answers_of(its, rig, at, level) == expected, (rig, level)


def test_the_likeliest_way_through_the_day_has_its_tables():
    """From the present rig to each place, and from there to each, as the light is now, and a click off either way."""
    likely = ((0, 146), (1, 44), (0, 112))
    its = pocket(KIT, BARE, (OUT, IN), likely)
    for stops in product(likely, repeat=3):
        rig = BARE
        for span, level in stops:
            rig = answers_of(its, rig, span, level)[0]
            assert its.rigs.index(rig) in its.tables
    for span, level in likely:
        for nudged in (level - 3, level + 3):
            assert its.rigs.index(answers_of(its, BARE, span, nudged)[0]) in its.tables


def test_another_rigs_table_gives_the_same_picture():
    def picture(score: Score) -> tuple[float, ...]:
        return tuple(round(each, 6) for each in (score.miss, score.off_look, score.shutter_off, score.iso_lift))

    its = pocket(KIT, BARE, (OUT, IN), ((0, 146), (1, 44)))
    other = Rig(True, ("nd9",), (), 0, 5.6, 1 / 50, 400)
    assert other not in [its.rigs[number] for number in its.tables]
    for at, span in enumerate((OUT, IN)):
        asked = [(Light(level / TENTHS), span.look) for level in range(span.low, span.high + 1)]
        own, borrowed = best_moves(KIT, other, asked), best_moves(KIT, BARE, asked)
        for n, level in enumerate(range(span.low, span.high + 1)):
            assert borrowed[n].clean.rig == answers_of(its, BARE, at, level)[0]
            assert picture(own[n].clean.score) == picture(borrowed[n].clean.score)


def test_a_large_kit_gets_fewer_tables_but_one_at_least(monkeypatch):
    monkeypatch.setattr(pockets, "CELLS_MOST", 5000)
    few = pocket(KIT, BARE, (OUT, IN), ((0, 146), (1, 44)))
    monkeypatch.setattr(pockets, "CELLS_MOST", 1)
    one = pocket(KIT, BARE, (OUT, IN), ((0, 146), (1, 44)))
    assert list(one.tables) == [0]
    assert 1 < len(few.tables) < 10


def test_a_day_without_places_has_an_empty_pocket():
    its = pocket(KIT, BARE, (), ())
    assert its.rigs == (BARE,)
    assert its.tables == {0: ()}
