"""
An answer as words: what the glass does, what the iris does, what stays, and what is left wrong.

The pages draw the parts (`Told`), the JSON carries the sentence (`sentence`). Marked values belong here: a third
of a stop for every 0.1 D is how the trade talks, and how nobody should add.
"""

from __future__ import annotations

import math
from collections import Counter
from dataclasses import dataclass, replace
from functools import lru_cache
from typing import TYPE_CHECKING

from .glass import MARKED_DENSITY_PER_CLICK, STOPS_PER_DENSITY
from .refused import within
from .scales import STEPLESS, iso_position, marked_shutter

if TYPE_CHECKING:
    from collections.abc import Sequence

    from .glass import Filter
    from .looks import Matched
    from .moves import Move
    from .rig import Action, Kit, Rig
    from .scales import ClicksPerStop
    from .stretches import Stretch
    from .takes import Ride

MINUS = "−"
SEEN = 0.25  # stops: an error inside the tolerance is worth a word from here on
_THIRDS = ("", "⅓", "⅔")


@dataclass(frozen=True, slots=True)
class Turn:
    """The iris: way is "open", "close" or "stay"; clicks [clicks]; said, as "open 2"; to, as "f/2.2"."""

    way: str
    clicks: int
    said: str
    to: str


@dataclass(frozen=True, slots=True)
class Told:
    """
    One answer in the order of the hands. Empty text: that part stays as it is.

    glass      "Holder off", "Swap 0.6 for 1.2"
    turn       what the iris does
    iso, shutter   as they will be, whether or not they change;  new_iso, new_shutter: whether they do
    wrong      "1⅓ stops too dark", where the picture is left wrong enough to see
    cure       what would mend it, where the answer misses
    """

    glass: str
    turn: Turn
    iso: str
    new_iso: bool
    shutter: str
    new_shutter: bool
    wrong: str
    cure: str
    seconds: str

    @property
    def nothing(self) -> bool:
        """Whether the hand has nothing to do."""
        return not (self.glass or self.new_iso or self.new_shutter or self.turn.way != "stay")


def told(kit: Kit, move: Move) -> Told:
    """What to say of a move."""
    clicks = kit.body.clicks_per_stop
    done = {action.do: action for action in move.actions}
    turned = done.get("open") or done.get("close")
    to = f_number(move.rig.aperture)
    if turned is None or turned.clicks is None:
        turn = Turn("stay", 0, "stay", to)
    else:
        turn = Turn(turned.do, turned.clicks, f"{turned.do} {turn_size(turned.clicks, clicks)}", to)
    stops, missed = move.residual / clicks, move.score.miss > 0
    return Told(
        glass=_capital(", ".join(glass_words(kit, move.actions))),
        turn=turn,
        iso=iso(move.rig.iso),
        new_iso="iso" in done,
        shutter=marked_shutter(move.rig.shutter),
        new_shutter="shutter" in done,
        wrong=error(stops) if missed or abs(stops) >= SEEN else "",
        cure=cure(stops) if missed else "",
        seconds=f"{move.score.hand_seconds:.0f} s",
    )


def sentence(kit: Kit, move: Move) -> str:
    """
    The whole answer as a sentence or two that a person can act on: "Holder off, close 1 click to f/3.2, ISO 800."
    """
    said = told(kit, move)
    parts = [said.glass] if said.glass else []
    if said.turn.way != "stay" and said.turn.clicks:
        parts.append(f"{said.turn.way} {turn_words(said.turn.clicks, kit.body.clicks_per_stop)} to {said.turn.to}")
    if said.new_iso:
        parts.append(said.iso)
    if said.new_shutter:
        parts.append(said.shutter)
    text = _capital(", ".join(parts)) if parts else f"Leave it all as it is: {said.turn.to}, {said.iso}"
    if said.wrong:
        text += f". The picture stays {said.wrong}"
    if said.cure:
        text += f": {said.cure}"
    return text + "."


def glass_words(kit: Kit, actions: Sequence[Action]) -> list[str]:
    """What the hand does to the glass, a phrase each: "holder off", "swap 0.6 for 1.2", "built-in to 4 stops"."""
    names = labels(kit.filters)
    out = {do: [names[a.filter] for a in actions if a.do == do and a.filter] for do in _GLASS_VERBS}
    said: list[str] = []
    if any(action.do == "holder_off" for action in actions):
        said.append("holder off")
    said += _phrases("unscrew", out["unscrew"])
    said += [f"{name} out of the front ring" for name in out["front_off"]]
    if out["pull"] and out["drop_in"]:
        said.append(f"swap {_and(out['pull'])} for {_and(out['drop_in'])}")
    else:
        said += _phrases("pull", out["pull"]) + _phrases("drop in", out["drop_in"])
    said += [f"{name} into the front ring" for name in out["front_on"]]
    if any(action.do == "holder_on" for action in actions):
        said.append("holder on")
    said += _phrases("screw on", out["screw_on"])
    said += [f"turn variable ND to {stops_of(action.to or 0)}" for action in actions if action.do == "turn"]
    said += [
        f"built-in to {stops_of(action.to)}" if action.to else "built-in clear"
        for action in actions
        if action.do == "built_in"
    ]
    return said


_GLASS_VERBS = ("unscrew", "front_off", "pull", "drop_in", "front_on", "screw_on")


@lru_cache(maxsize=256)
def labels(filters: tuple[Filter, ...]) -> dict[str, str]:
    """What to call each filter, by its id: what it is, or its name where another one would be called the same."""
    called = Counter(_called(piece) for piece in filters)
    return {piece.id: (piece.name or piece.id) if called[_called(piece)] > 1 else _called(piece) for piece in filters}


def _called(piece: Filter) -> str:
    if piece.kind == "nd":
        return density(piece.density)
    if piece.kind == "grad":
        return f"{density(piece.density)} {piece.edge} grad"
    return {"variable_nd": "variable ND", "polariser": "polariser"}.get(piece.kind, piece.name or piece.kind)


def mark(piece: Filter) -> str:
    """A filter in four letters, for the picture of the rig."""
    return {"variable_nd": "var", "polariser": "pol", "diffusion": "dif", "colour": "col"}.get(
        piece.kind, density(piece.density)
    )


def density(value: float) -> str:
    """
    A density [D] as it is engraved.

    >>> density(0.6), density(3), density(0.75)
    ('0.6', '3.0', '0.75')
    """
    text = f"{value:.2f}"
    return text.removesuffix("0")


def on_the_lens(kit: Kit, rig: Rig) -> str:
    """
    The glass of a rig in one line: "holder on with 0.6 and 1.2", "holder off, 0.6 in it", "no glass".
    """
    names = labels(kit.filters)
    said = []
    held = [names[f] for f in (*rig.slots, *(() if rig.front is None else (rig.front,)))]
    if held or rig.holder_on:
        if rig.holder_on:
            said.append(f"holder on with {_and(held)}" if held else "empty holder on")
        else:
            said.append(f"holder off, {_and(held)} in it")
    if rig.threads:
        said.append(f"{_and([names[f] for f in rig.threads])} screwed on")
    if rig.turned is not None:
        said.append(f"turned to {stops_of(rig.turned)}")
    if rig.built_in:
        said.append(f"built-in {stops_of(rig.built_in)}")
    return ", ".join(said) or "no glass"


def stretch_glass(kit: Kit, stretch: Stretch) -> str:
    """
    The glass of a stretch of the day in one line: "0.6 and 1.2", "variable ND, turned to 4 stops", "built-in 2 stops",
    "no glass".
    """
    names = labels(kit.filters)
    said = [_and([names[f] for f in stretch.filters])] if stretch.filters else []
    if stretch.turned is not None:
        said.append(f"turned to {stops_of(stretch.turned)}")
    if stretch.built_in:
        said.append(f"built-in {stops_of(stretch.built_in)}")
    return ", ".join(said) or "no glass"


def f_number(n: float) -> str:
    """A marked f-number [f-number]: "f/2.8"; two decimals where the mark has more."""
    return f"f/{round(n, 2):g}"


def iso(speed: float) -> str:
    """An ISO speed: "ISO 800"."""
    return f"ISO {speed:g}" if speed < 1e6 else f"ISO {speed:.0f}"


def ev(ev100: float) -> str:
    """A light level [stops] for reading at a glance: "EV 6.1", with a true minus sign."""
    return f"EV {minus(round(ev100, 1) + 0.0, '.1f')}"


def minus(value: float, form: str) -> str:
    """A number with a true minus sign."""
    return format(value, form).replace("-", MINUS)


def thirds(value: float) -> int:
    """A size in stops, counted in thirds."""
    return round(abs(value) * 3)


def stops(value: float) -> str:
    """
    A size in stops, to the nearest third, without its sign.

    >>> stops(1.3), stops(-0.35), stops(2)
    ('1⅓', '⅓', '2')
    """
    whole, third = divmod(round(abs(value) * 3), 3)
    return (str(whole) if whole or not third else "") + _THIRDS[third]


def stops_of(value: float) -> str:
    """The same with its unit: "1 stop", "⅔ stop", "2⅓ stops"."""
    return f"{stops(value)} {'stop' if round(abs(value) * 3) <= 3 else 'stops'}"


def error(value: float) -> str:
    """
    What is left wrong [stops]: "⅓ stop too dark".

    >>> error(-0.4), error(1.7), error(0.1)
    ('⅓ stop too dark', '1⅔ stops too bright', 'a touch too bright')
    """
    size = stops_of(value) if round(abs(value) * 3) else "a touch"
    return f"{size} too {'bright' if value > 0 else 'dark'}"


def cure(value: float) -> str:
    """What would mend a miss [stops]: the density that is missing, or the light."""
    if value > 0:
        missing = max(MARKED_DENSITY_PER_CLICK, round(value / STOPS_PER_DENSITY, 1))
        return f"{density(missing)} more ND would mend it"
    return f"it needs {stops_of(value) if round(abs(value) * 3) else 'a touch'} more light"


def turn_size(count: int, clicks: ClicksPerStop) -> str:
    """A turn of the iris as the dial counts it: "2", or "0.4 stop" on a stepless one."""
    return turn_words(count, clicks) if clicks == STEPLESS else str(count)


def turn_words(count: int, clicks: ClicksPerStop) -> str:
    """The same, spelled out: "2 clicks", "1 click", "0.4 stop"."""
    if clicks == STEPLESS:
        return f"{count / STEPLESS:g} {'stop' if count <= STEPLESS else 'stops'}"
    return f"{count} {'click' if count == 1 else 'clicks'}"


def match_words(match: Matched) -> tuple[str, ...]:
    """
    How a second camera's look goes with the first one's: the focal length to set, and what the lens or the kit lacks.

    "same field at 25 mm", "background sharper by 1⅓ stops: the lens opens no wider"
    """
    said = []
    if match.unknown:
        said.append(f"not matched: {_and(match.unknown)} not known")
    if match.field_mm is not None:
        has = "" if match.in_field else ", which this lens has not"
        said.append(f"same field at {match.field_mm:.0f} mm{has}")
    if round(abs(match.off_stops) * 3):
        softness, no_further = ("sharper", "opens no wider") if match.off_stops > 0 else ("softer", "closes no further")
        said.append(f"background {softness} by {stops_of(abs(match.off_stops))}: the lens {no_further}")
    if match.missing:
        said.append(f"the first camera wears {_and([_called(piece) for piece in match.missing])}; this kit has none")
    return tuple(said)


def _phrases(verb: str, names: list[str]) -> list[str]:
    return [f"{verb} {_and(names)}"] if names else []


def _and(names: Sequence[str]) -> str:
    return " and ".join(names) if len(names) < 3 else f"{', '.join(names[:-1])} and {names[-1]}"


def _capital(text: str) -> str:
    return text[:1].upper() + text[1:]


TAKE_SHORTEST, TAKE_LONGEST = 0.5, 3600.0  # s
DEPTH_CHANGES = "The depth of field changes with the iris."  # common practice, no source
STEPS_SHOW = "Each step of the ISO shows."  # common practice, no source


@dataclass(frozen=True, slots=True)
class ToldTake:
    """
    One way to take a shot through a door. Empty text: there is nothing to say.

    before   what to set before the take: "Swap 0.6 for 1.2, close 1 click to f/6.3."
    ride     what to ride: "open 9 clicks while you walk, f/6.3 to f/2.2: one every 0.9 s over 8 s"
    wrong    how far each end is off: "the start stays ⅔ stop too bright", "the end stays 1⅓ stops too dark"
    slow     that the hand is not fast enough, where it is not
    shows    what this ride changes in the picture besides
    """

    before: str
    ride: str
    wrong: tuple[str, ...]
    slow: str
    shows: str


def told_take(kit: Kit, ride: Ride, seconds: float) -> ToldTake:
    """
    What to say of a way to take it, for a walk of so many seconds [s].

    Raises OutOfRange for seconds outside TAKE_SHORTEST to TAKE_LONGEST.
    """
    within("seconds", seconds, TAKE_SHORTEST, TAKE_LONGEST, "s")
    # What would mend one end would harm the other, so the start's own words on what is left wrong stay out.
    start = replace(ride.start, residual=0.0, score=replace(ride.start.score, miss=0.0))
    needed = ride.end.score.hand_seconds
    return ToldTake(
        before=sentence(kit, start),
        ride=_ride_words(kit, ride, seconds),
        wrong=_wrong_ends(kit, ride),
        slow=_slow(needed, seconds) if needed > seconds else "",
        shows={"iris": DEPTH_CHANGES, "iso": STEPS_SHOW}.get(ride.kind, "") if ride.end.actions else "",
    )


def _ride_words(kit: Kit, ride: Ride, seconds: float) -> str:
    clicks, first, last = kit.body.clicks_per_stop, ride.start.rig, ride.end.rig
    done = next(iter(ride.end.actions), None)
    over = f"over {_seconds(seconds)}"
    if done is None:
        stays = {
            "iris": f"the iris at {f_number(first.aperture)}",
            "variable_nd": f"the variable ND at {stops_of(first.turned or 0)}",
            "iso": iso(first.iso),
        }
        return f"leave {stays[ride.kind]} all the way"
    if ride.kind == "variable_nd":
        return f"turn the variable ND from {stops_of(first.turned or 0)} to {stops(last.turned or 0)} {over}"
    if ride.kind == "iso":
        steps = _iso_steps(kit, first, last)
        return (
            f"{iso(first.iso)} to {last.iso:g} in {steps} {'step' if steps == 1 else 'steps'}{_every(steps, seconds)}"
        )
    count = done.clicks or 0
    turn = (
        f"{done.do} {turn_words(count, clicks)} while you walk, {f_number(first.aperture)} to {f_number(last.aperture)}"
    )
    if clicks == STEPLESS:  # there is nothing to count: it is one turn of an even speed
        return f"{turn}: evenly {over}"
    return turn + _every(count, seconds)


def _every(count: int, seconds: float) -> str:
    """How to spread clicks or steps over a take: ": one every 0.9 s over 8 s"; one alone has no rhythm."""
    if count == 1:
        return f": halfway through the {_seconds(seconds)}"
    return f": one every {_seconds(seconds / count)} over {_seconds(seconds)}"


def _iso_steps(kit: Kit, first: Rig, last: Rig) -> int:
    """How many positions of the ISO dial the hand goes through, the last one included."""
    start, end = iso_position(first.iso), iso_position(last.iso)
    dial = {end, *(iso_position(speed) for speed in kit.body.iso_allowed)} - {start}
    return sum(min(start, end) <= position <= max(start, end) for position in dial)


def _wrong_ends(kit: Kit, ride: Ride) -> tuple[str, ...]:
    ends = (("start", ride.start), ("end", ride.end))
    left = [(name, move.residual / kit.body.clicks_per_stop, move.score.miss > 0) for name, move in ends]
    return tuple(f"the {name} stays {error(off)}" for name, off, missed in left if missed or abs(off) >= SEEN)


def _slow(needed: float, seconds: float) -> str:
    """That the hand needs longer [s] than there is, rounded up so that it never reads as if it were the same."""
    return f"The hand needs {math.ceil(10 * needed) / 10:g} s, the take has {_seconds(seconds)}"


def _seconds(value: float) -> str:
    """
    A time [s] as it is counted under the breath: whole, or tenths where it is short.

    >>> _seconds(8), _seconds(0.888), _seconds(12.3), _seconds(0.02)
    ('8 s', '0.9 s', '12 s', '0.1 s')
    """
    return f"{value:.0f} s" if value >= 10 else f"{max(0.1, round(value, 1)):g} s"
