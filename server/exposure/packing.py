"""
The bag: the fewest pieces of glass and rings that lose nothing against carrying everything.

Nothing is lost where every place keeps its best picture: the same miss, distance from the look, shutter and ISO lift
that the whole kit gets there (`moves.best_pictures`). Which pieces a setup needs is a set; a bag is good where it holds
a whole set for every place. The smallest bag is searched for exactly, by branching on the place with the fewest ways.
"""

from __future__ import annotations

from dataclasses import dataclass, replace
from typing import TYPE_CHECKING, Literal

from server.language import say

from .glass import Filter, Holder, StepUps
from .moves import Move, Pictures, best_moves, best_pictures
from .refused import OutOfRange
from .rig import GLASS_ACTIONS, Kit, Rig, nearest_rig

if TYPE_CHECKING:
    from collections.abc import Iterable, Sequence

    from .light import Light
    from .rig import Look

WAYS_MOST = 20_000  # ways to do one place that are compared
LOOKS_MOST = 5_000_000  # ways that the search may look at in all: some seconds
MARK_APART = 0.05  # D; nearer marks are the same filter
STANDARD_SERIES = (0.3, 0.6, 0.9, 1.2, 1.5, 1.8, 2.1, 2.4, 2.7, 3.0)  # D, as sold: whole stops


@dataclass(frozen=True, slots=True, order=True)
class Piece:
    """
    A thing to pack.

    what  "filter" (id), "holder", "ring" (an adapter ring of the holder: the thread, mm) or "step_up" ("67 to 77")
    """

    what: Literal["filter", "holder", "ring", "step_up"]
    which: str


@dataclass(frozen=True, slots=True)
class Bag:
    """
    What to pack, in the kit's order, and the places (by their number) that would lose without each piece.

    short: places where even the whole kit misses, by how many clicks
    """

    pieces: tuple[Piece, ...]
    needed_at: dict[Piece, tuple[int, ...]]
    short: dict[int, float]


@dataclass(frozen=True, slots=True)
class Gain:
    """
    What one more filter would gain over the day, the places taken as they come.

    density [D];  swaps_saved, actions on the glass that fall away;  mended: places that would miss no more;
    kept: places that would keep their look, or a lower ISO, where now they don't
    """

    density: float
    swaps_saved: int
    mended: tuple[int, ...]
    kept: tuple[int, ...]


def pack(stops: Sequence[tuple[Kit, Light, Look]]) -> Bag:
    """
    The smallest bag for a day. Each stop may have a lens of its own; the kits' filters and holder are the same.

    Of bags of one size, the one whose pieces come first in the kit. Raises OutOfRange as `best_pictures`, and where so
    many filters are so alike that the search would go past WAYS_MOST or LOOKS_MOST: it stays exact, or says no.
    """
    pieces = _pieces([kit for kit, _, _ in stops])
    bit = {piece: 1 << number for number, piece in enumerate(pieces)}
    ways: list[list[int]] = []
    short: dict[int, float] = {}
    for number, ((kit, _, _), found) in enumerate(zip(stops, _pictures(stops), strict=True)):
        if found.parts[0] > 0:
            short[number] = found.parts[0]
        masks: set[int] = set()
        for held, on in {(bool(found.setups.holder[way]), found.setups.on[way].tobytes()) for way in found.able}:
            masks |= _needs(kit, [number for number, there in enumerate(on) if there], held=held, bit=bit)
        if len(masks) > WAYS_MOST:
            raise OutOfRange(
                "filters",
                say("{count} ways to do one place", count=len(masks)),
                say("at most {most}, to pack by", most=WAYS_MOST),
            )
        ways.append(_smallest(masks))
    chosen = _search(ways)
    packed = [piece for piece in pieces if bit[piece] & chosen]
    needed = {
        piece: tuple(n for n, some in enumerate(ways) if not any(way & ~(chosen & ~bit[piece]) == 0 for way in some))
        for piece in packed
    }
    return Bag(tuple(packed), needed, short)


def _pictures(stops: Sequence[tuple[Kit, Light, Look]]) -> list[Pictures]:
    """The best picture of every stop; each kit is asked once for all of its stops."""
    by_kit: dict[Kit, list[int]] = {}
    for number, (kit, _, _) in enumerate(stops):
        by_kit.setdefault(kit, []).append(number)
    found: dict[int, Pictures] = {}
    for kit, numbers in by_kit.items():
        found |= zip(numbers, best_pictures(kit, [stops[number][1:] for number in numbers]), strict=True)
    return [found[number] for number in range(len(stops))]


def _pieces(kits: Sequence[Kit]) -> list[Piece]:
    """Everything that could be packed, each once, filters first."""
    found: dict[Piece, None] = {}
    for kit in kits:
        found |= {Piece("filter", piece.id): None for piece in kit.filters}
    for kit in kits:
        if kit.holder is not None:
            found[Piece("holder", "")] = None
            found |= {Piece("ring", f"{ring:g}"): None for ring in kit.holder.rings}
        found |= {Piece("step_up", f"{start:g} to {to:g}"): None for start, to in kit.step_ups}
    return list(found)


def _needs(kit: Kit, on: list[int], *, held: bool, bit: dict[Piece, int]) -> set[int]:
    """The sets of pieces that a setup can be put together from, as bits; more than one where rings allow it."""
    glass = 0
    for number in on:
        glass |= bit[Piece("filter", kit.filters[number].id)]
    if held and kit.holder is not None:
        return {
            glass | bit[Piece("holder", "")] | way for way in _mounting(kit.holder, kit.lens.thread, kit.step_ups, bit)
        }
    for number in on:
        piece: Filter = kit.filters[number]
        if piece.thread != kit.lens.thread:
            glass |= bit[Piece("step_up", f"{kit.lens.thread:g} to {piece.thread:g}")]
    return {glass}


def _mounting(holder: Holder, thread: float | None, step_ups: StepUps, bit: dict[Piece, int]) -> set[int]:
    """The rings that put the holder on a lens: its own adapter ring, or a step-up ring and the one it leads to."""
    ways = {bit[Piece("ring", f"{thread:g}")]} if thread in holder.rings else set()
    for start, to in step_ups:
        if start == thread and to in holder.rings:
            ways.add(bit[Piece("step_up", f"{start:g} to {to:g}")] | bit[Piece("ring", f"{to:g}")])
    return ways


def pieces_for(kit: Kit, rig: Rig) -> tuple[Piece, ...]:
    """
    What a rig is put together from, filters first, in the kit's order: also those in a holder that is off.

    Where more than one way of rings would do, the first of the fewest. Raises KeyError for a filter of another kit.
    """
    held = (*rig.slots, *(() if rig.front is None else (rig.front,)))
    pieces = _pieces([kit])
    bit = {piece: 1 << number for number, piece in enumerate(pieces)}
    found = 0
    for filter_id in held:
        found |= bit[Piece("filter", filter_id)]
    if kit.holder is not None and (held or rig.holder_on):
        ways = _mounting(kit.holder, kit.lens.thread, kit.step_ups, bit) if rig.holder_on else set()
        found |= bit[Piece("holder", "")] | min(ways, key=lambda way: (way.bit_count(), way), default=0)
    numbers = [number for number, piece in enumerate(kit.filters) if piece.id in rig.threads]
    found |= min(_needs(kit, numbers, held=False, bit=bit))
    return tuple(piece for piece in pieces if bit[piece] & found)


def _smallest(masks: Iterable[int]) -> list[int]:
    """The sets that hold no other one, fewest pieces first."""
    kept: list[int] = []
    smaller: list[int] = []  # sets of one size hold no other, and most are of one size
    for mask in sorted(masks, key=lambda each: (each.bit_count(), each)):
        if kept and kept[-1].bit_count() < mask.bit_count():
            smaller = kept.copy()
        if not any(mask & other == other for other in smaller):
            kept.append(mask)
    return kept


def _search(ways: list[list[int]]) -> int:
    """The smallest union that holds a whole set for every place; of equals, the lowest bits."""
    places = sorted({tuple(some) for some in ways}, key=len)
    best = 0
    for some in places:  # a first answer to beat: what each place adds the least for
        best |= min(some, key=lambda way: ((way & ~best).bit_count(), way))
    best_key = _key(best)
    seen: set[int] = set()
    looked, each = 0, sum(len(some) for some in places)
    waiting = [0]
    while waiting:
        mask = waiting.pop()
        if mask in seen:
            continue
        seen.add(mask)
        looked += each
        if looked > LOOKS_MOST:
            raise OutOfRange("filters", say("too many that are alike"), say("fewer filters, to pack by"))
        open_places = [[way & ~mask for way in some] for some in places if all(way & ~mask for way in some)]
        if not open_places:
            if _key(mask) < best_key:
                best, best_key = mask, _key(mask)
            continue
        least = max(min(way.bit_count() for way in some) for some in open_places)
        if mask.bit_count() + least > best_key[0]:
            continue
        branch = min(open_places, key=len)
        waiting += [mask | way for way in sorted(set(branch), key=lambda way: -way.bit_count())]
    return best


def _key(mask: int) -> tuple[int, list[int]]:
    """How bags compare: by their size, then by how early their pieces stand in the kit."""
    return mask.bit_count(), [number for number in range(mask.bit_length()) if mask >> number & 1]


def chain(stops: Sequence[tuple[Kit, Light, Look]], rig: Rig) -> list[Move]:
    """The clean move to each stop from the one before it, the first from this rig."""
    moves: list[Move] = []
    for kit, light, look in stops:
        (answers,) = best_moves(kit, nearest_rig(kit, rig), [(light, look)])  # another lens may have come on
        moves.append(answers.clean)
        rig = answers.clean.rig
    return moves


def gains(stops: Sequence[tuple[Kit, Light, Look]], rig: Rig) -> list[Gain]:
    """
    What each filter of the standard series that the kit lacks would gain, the best first; those that gain nothing are
    left out. It is a plate where there is a holder, else a ring for the lens.
    """
    if not stops:
        return []
    now = chain(stops, rig)
    found = []
    for density in STANDARD_SERIES:
        if any(_is_grey(piece, density) for kit, _, _ in stops for piece in kit.filters):
            continue
        more = [(_with_one_more(kit, density), light, look) for kit, light, look in stops]
        if all(new is kit for (new, *_), (kit, *_) in zip(more, stops, strict=True)):
            continue
        then = chain(more, rig)
        gain = Gain(
            density,
            swaps_saved=_swaps(now) - _swaps(then),
            mended=tuple(
                n for n, (a, b) in enumerate(zip(now, then, strict=True)) if a.score.miss > b.score.miss + 1e-6
            ),
            kept=tuple(n for n, (a, b) in enumerate(zip(now, then, strict=True)) if _keeps_more(a, b)),
        )
        if gain.mended or gain.kept or gain.swaps_saved > 0:
            found.append((_worth(then), gain))
    return [gain for _, gain in sorted(found, key=lambda each: each[0])]


def _is_grey(piece: Filter, density: float) -> bool:
    return piece.kind == "nd" and abs(piece.density - density) < MARK_APART


def _keeps_more(before: Move, after: Move) -> bool:
    a, b = before.score, after.score
    return (b.off_look, b.iso_lift) < (a.off_look, a.iso_lift) and b.miss <= a.miss + 1e-6


def _worth(moves: list[Move]) -> tuple[float, int, int, int]:
    scores = [move.score for move in moves]
    return (
        round(sum(score.miss for score in scores), 6),
        sum(score.off_look for score in scores),
        sum(score.iso_lift for score in scores),
        _swaps(moves),
    )


def _swaps(moves: list[Move]) -> int:
    return sum(action.do in GLASS_ACTIONS for move in moves for action in move.actions)


def _with_one_more(kit: Kit, density: float) -> Kit:
    """The kit with one more filter; the same kit where nothing could hold it."""
    name = f"+{density}"
    if kit.holder is not None:
        return replace(kit, filters=(*kit.filters, Filter(name, "slot", density, width=kit.holder.width)))
    if kit.lens.thread is None:
        return kit
    return replace(kit, filters=(*kit.filters, Filter(name, "thread", density, thread=kit.lens.thread)))
