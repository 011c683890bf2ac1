"""
A take as a plain loop over every pair of legal rigs, to hold the engine to.

Written from the words alone: a take is a pair of legal rigs, one for the first frame and one for the last, that differ
in nothing but the dial that is ridden. It imports nothing that searches, scores or lists setups; every pair is scored
and compared, in full where its misses are not larger already. Rigs are listed by what stays first, so that only those
are paired that may be one take.
"""

from __future__ import annotations

from collections import defaultdict
from functools import lru_cache
from typing import TYPE_CHECKING, NamedTuple

from tests.exposure.plain_kit import every_rig

if TYPE_CHECKING:
    from server.exposure.rig import Kit, Look, Rig
    from tests.exposure.plain_kit import Scored

    Ends = tuple[tuple[float, Look], tuple[float, Look]]

RIDES = ("iris", "variable_nd", "iso")  # in the order in which they win ties


class Pair(NamedTuple):
    """score: miss, off_look, shutter_off, iso_lift, effort, residual, as sums; ties: how many filters, and their order."""

    score: tuple[float, ...]
    ties: tuple[int, tuple[int, ...]]
    first: Scored
    last: Scored


def stays(one: Scored, ride: str) -> tuple | None:
    """What both rigs of a take have the same; None where this dial cannot be ridden."""
    way = one.way
    same = (way.held, way.on, way.built_in, one.shutter)
    if ride == "iris":
        return (*same, way.turned, one.iso)
    if ride == "iso":
        return (*same, way.turned, one.iris)
    return None if way.turned is None else (*same, one.iris, one.iso)


def ridden(kit: Kit, first: Scored, last: Scored) -> float:
    """What the hand needs for the ride [s]."""
    seconds = abs(first.iris - last.iris) / kit.body.clicks_per_stop * kit.hands.iris
    seconds += abs((first.way.turned or 0) - (last.way.turned or 0)) * kit.hands.turn
    return seconds + (kit.hands.iso if first.iso != last.iso else 0)


def picture(kit: Kit, look: Look, one: Scored) -> tuple[float, int, float, int]:
    """What a rig's picture is worth at one end, rounded."""
    miss = max(0.0, abs(one.residual) - kit.body.clicks_per_stop * look.tolerance)
    return round(miss, 6), one.off_look, one.shutter_off, one.iso_lift


def effort(kit: Kit, one: Scored, seconds: float) -> float:
    """What it takes to have a rig [s], and what its distance from the wanted iris is worth, rounded."""
    return round(seconds + kit.hands.stray * one.off_wanted / kit.body.clicks_per_stop, 6)


def sums(kit: Kit, looks: tuple[Look, Look], first: Scored, last: Scored) -> tuple[float, ...]:
    """What is compared: each end's parts rounded, then added."""
    pictures = (picture(kit, look, one) for look, one in zip(looks, (first, last), strict=True))
    spent = effort(kit, first, first.hand_seconds) + effort(kit, last, ridden(kit, first, last))
    residual = round(abs(first.residual), 6) + round(abs(last.residual), 6)
    return tuple(round(part, 6) for part in (*map(sum, zip(*pictures, strict=True)), spent, residual))


@lru_cache(maxsize=2)
def rigs_of(kit: Kit, rig: Rig, ends: Ends) -> tuple[list[Scored], list[Scored]]:
    """Every legal rig at the start and at the end, as the present rig reaches it."""
    (ev100, look), (then_ev100, then_look) = ends
    return list(every_rig(kit, rig, ev100, look)), list(every_rig(kit, rig, then_ev100, then_look))


def how_many_pairs(first: list[Scored], last: list[Scored]) -> int:
    """How many pairs `best_pairs` compares."""
    count = 0
    for ride in RIDES:
        alike: dict[tuple, int] = defaultdict(int)
        for one in last:
            alike[stays(one, ride) or ()] += 1
        count += sum(alike[key] for one in first if (key := stays(one, ride)))
    return count


def best_pairs(kit: Kit, rig: Rig, ends: Ends) -> dict[str, Pair]:
    """For each dial that can be ridden, the best of every pair of legal rigs. ends: ev100 [stops] and look."""
    looks = (ends[0][1], ends[1][1])
    first, last = rigs_of(kit, rig, ends)
    # A miss does not depend on what it is paired with, so it is worked out before, as anyone would.
    starts = [(one, picture(kit, looks[0], one)[0]) for one in first]
    finals = [(one, picture(kit, looks[1], one)[0]) for one in last]
    best: dict[str, Pair] = {}
    for ride in RIDES:
        alike: dict[tuple, list[tuple[Scored, float]]] = defaultdict(list)
        for one, miss in finals:
            if (key := stays(one, ride)) is not None:
                alike[key].append((one, miss))
        for one, miss in starts:
            for other, more in alike.get(stays(one, ride) or (), ()):
                if ride in best and miss + more > best[ride].score[0] + 1e-7:
                    continue
                pair = Pair(sums(kit, looks, one, other), (len(one.way.on), one.way.order), one, other)
                if ride not in best or pair[:2] < best[ride][:2]:
                    best[ride] = pair
    return best
