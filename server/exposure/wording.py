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

from server.language import Worded, decimal, listed, manner, noted, say, say_many

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
        turn = Turn("stay", 0, say("stay"), to)
    else:
        turn = Turn(turned.do, turned.clicks, _turned(turned.do, turn_size(turned.clicks, clicks)), to)
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
        turn = _turned(said.turn.way, turn_words(said.turn.clicks, kit.body.clicks_per_stop))
        parts.append(say("{turn} to {to}", turn=turn, to=said.turn.to))
    if said.new_iso:
        parts.append(said.iso)
    if said.new_shutter:
        parts.append(said.shutter)
    text = (
        _capital(", ".join(parts))
        if parts
        else say("Leave it all as it is: {to}, {iso}", to=said.turn.to, iso=said.iso)
    )
    if said.wrong:
        text += ". " + say("The picture stays {wrong}", wrong=said.wrong)
    if said.cure:
        text += f": {said.cure}"
    return text + "."


def glass_words(kit: Kit, actions: Sequence[Action]) -> list[str]:
    """What the hand does to the glass, a phrase each: "holder off", "swap 0.6 for 1.2", "built-in to 4 stops"."""
    names = labels(kit.filters)
    out = {do: [names[a.filter] for a in actions if a.do == do and a.filter] for do in _GLASS_VERBS}
    said: list[str] = []
    if any(action.do == "holder_off" for action in actions):
        said.append(say("holder off"))
    if out["unscrew"]:
        said.append(say("unscrew {glass}", glass=listed(out["unscrew"])))
    said += [say("{glass} out of the front ring", glass=name) for name in out["front_off"]]
    said += _plates(out["pull"], out["drop_in"])
    said += [say("{glass} into the front ring", glass=name) for name in out["front_on"]]
    if any(action.do == "holder_on" for action in actions):
        said.append(say("holder on"))
    if out["screw_on"]:
        said.append(say("screw on {glass}", glass=listed(out["screw_on"])))
    for action in actions:
        if action.do == "turn":
            said.append(say("turn variable ND to {stops}", stops=stops_of(action.to or 0)))
        elif action.do == "built_in":
            said.append(say("built-in to {stops}", stops=stops_of(action.to)) if action.to else say("built-in clear"))
    return said


def _plates(pulled: list[str], dropped_in: list[str]) -> list[str]:
    if pulled and dropped_in:
        return [say("swap {out} for {into}", out=listed(pulled), into=listed(dropped_in))]
    if pulled:
        return [say("pull {glass}", glass=listed(pulled))]
    return [say("drop in {glass}", glass=listed(dropped_in))] if dropped_in else []


def _turned(way: str, size: str) -> str:
    return say("open {size}", size=size) if way == "open" else say("close {size}", size=size)


_GLASS_VERBS = ("unscrew", "front_off", "pull", "drop_in", "front_on", "screw_on")


def labels(filters: tuple[Filter, ...]) -> dict[str, str]:
    """What to call each filter, by its id: what it is, or its name where another one would be called the same."""
    return _labels(filters, manner().language)


@lru_cache(maxsize=256)
def _labels(filters: tuple[Filter, ...], _language: str) -> dict[str, str]:
    called = Counter(_called(piece) for piece in filters)
    return {piece.id: (piece.name or piece.id) if called[_called(piece)] > 1 else _called(piece) for piece in filters}


def _called(piece: Filter) -> str:
    if piece.kind == "nd":
        return density(piece.density)
    if piece.kind == "grad":
        grey = density(piece.density)
        return (
            say("{density} soft grad", density=grey)
            if piece.edge == "soft"
            else say("{density} hard grad", density=grey)
        )
    return CALLED.get(piece.kind, piece.name or piece.kind)


CALLED = Worded({"variable_nd": noted("variable ND"), "polariser": noted("polariser")})


def mark(piece: Filter) -> str:
    """A filter in four letters, for the picture of the rig."""
    return MARKS.get(piece.kind, density(piece.density))


MARKS = Worded({
    "variable_nd": noted("var"), "polariser": noted("pol"), "diffusion": noted("dif"), "colour": noted("col"),
})  # fmt: skip


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
            said.append(say("holder on with {glass}", glass=listed(held)) if held else say("empty holder on"))
        else:
            said.append(say("holder off, {glass} in it", glass=listed(held)))
    if rig.threads:
        said.append(say("{glass} screwed on", glass=listed([names[f] for f in rig.threads])))
    if rig.turned is not None:
        said.append(say("turned to {stops}", stops=stops_of(rig.turned)))
    if rig.built_in:
        said.append(say("built-in {stops}", stops=stops_of(rig.built_in)))
    return ", ".join(said) or say("no glass")


def stretch_glass(kit: Kit, stretch: Stretch) -> str:
    """
    The glass of a stretch of the day in one line: "0.6 and 1.2", "variable ND, turned to 4 stops", "built-in 2 stops",
    "no glass".
    """
    names = labels(kit.filters)
    said = [listed([names[f] for f in stretch.filters])] if stretch.filters else []
    if stretch.turned is not None:
        said.append(say("turned to {stops}", stops=stops_of(stretch.turned)))
    if stretch.built_in:
        said.append(say("built-in {stops}", stops=stops_of(stretch.built_in)))
    return ", ".join(said) or say("no glass")


def f_number(n: float) -> str:
    """A marked f-number [f-number]: "f/2.8"; two decimals where the mark has more."""
    return f"f/{round(n, 2):g}"


def iso(speed: float) -> str:
    """An ISO speed: "ISO 800"."""
    return f"ISO {speed:g}" if speed < 1e6 else f"ISO {speed:.0f}"


def ev(ev100: float) -> str:
    """A light level [stops] for reading at a glance: "EV 6.1", with a true minus sign."""
    return f"EV {decimal(minus(round(ev100, 1) + 0.0, '.1f'))}"


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
    """The same with its unit: "1 stop", "⅔ stop", "2⅓ stops", "0 stops"."""
    return say_many("{count} stop", "{count} stops", 1 if 0 < thirds(value) <= 3 else 2, count=stops(value))


def error(value: float) -> str:
    """
    What is left wrong [stops]: "⅓ stop too dark".

    >>> error(-0.4), error(1.7), error(0.1)
    ('⅓ stop too dark', '1⅔ stops too bright', 'a touch too bright')
    """
    size = stops_of(value) if thirds(value) else say("a touch")
    return say("{size} too bright", size=size) if value > 0 else say("{size} too dark", size=size)


def cure(value: float) -> str:
    """What would mend a miss [stops]: the density that is missing, or the light."""
    if value > 0:
        missing = max(MARKED_DENSITY_PER_CLICK, round(value / STOPS_PER_DENSITY, 1))
        return say("{density} more ND would mend it", density=density(missing))
    return say("it needs {size} more light", size=stops_of(value) if thirds(value) else say("a touch"))


def turn_size(count: int, clicks: ClicksPerStop) -> str:
    """A turn of the iris as the dial counts it: "2", or "0.4 stop" on a stepless one."""
    return turn_words(count, clicks) if clicks == STEPLESS else str(count)


def turn_words(count: int, clicks: ClicksPerStop) -> str:
    """The same, spelled out: "2 clicks", "1 click", "0.4 stop"."""
    if clicks == STEPLESS:
        size = decimal(f"{count / STEPLESS:g}")
        return say_many("{count} stop", "{count} stops", 1 if count <= STEPLESS else 2, count=size)
    return say_many("{count} click", "{count} clicks", count)


def match_words(match: Matched) -> tuple[str, ...]:
    """
    How a second camera's look goes with the first one's: the focal length to set, and what the lens or the kit lacks.

    "same field at 25 mm", "background sharper by 1⅓ stops: the lens opens no wider"
    """
    said = []
    if match.unknown:
        said.append(say("not matched: {what} not known", what=listed([UNKNOWN[each] for each in match.unknown])))
    if match.field_mm is not None:
        focal = f"{match.field_mm:.0f}"
        said.append(
            say("same field at {focal} mm", focal=focal)
            if match.in_field
            else say("same field at {focal} mm, which this lens has not", focal=focal)
        )
    if thirds(match.off_stops):
        size = stops_of(match.off_stops)
        said.append(
            say("background sharper by {size}: the lens opens no wider", size=size)
            if match.off_stops > 0
            else say("background softer by {size}: the lens closes no further", size=size)
        )
    if match.missing:
        wears = listed([_called(piece) for piece in match.missing])
        said.append(say("the first camera wears {glass}; this kit has none", glass=wears))
    return tuple(said)


def _capital(text: str) -> str:
    return text[:1].upper() + text[1:]


UNKNOWN = Worded({"sensor": noted("sensor"), "focal length": noted("focal length")})

TAKE_SHORTEST, TAKE_LONGEST = 0.5, 3600.0  # s
DEPTH_CHANGES = noted("The depth of field changes with the iris.")  # common practice, no source
STEPS_SHOW = noted("Each step of the ISO shows.")  # common practice, no source


SHOWS = Worded({"iris": DEPTH_CHANGES, "iso": STEPS_SHOW})


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
        shows=SHOWS.get(ride.kind, "") if ride.end.actions else "",
    )


def _ride_words(kit: Kit, ride: Ride, seconds: float) -> str:
    clicks, first, last = kit.body.clicks_per_stop, ride.start.rig, ride.end.rig
    done = next(iter(ride.end.actions), None)
    if done is None:
        if ride.kind == "iris":
            return say("leave the iris at {to} all the way", to=f_number(first.aperture))
        if ride.kind == "variable_nd":
            return say("leave the variable ND at {stops} all the way", stops=stops_of(first.turned or 0))
        return say("leave {iso} all the way", iso=iso(first.iso))
    if ride.kind == "variable_nd":
        return say(
            "turn the variable ND from {start} to {end} over {time}",
            start=stops_of(first.turned or 0), end=stops(last.turned or 0), time=_seconds(seconds),
        )  # fmt: skip
    if ride.kind == "iso":
        steps = _iso_steps(kit, first, last)
        ride_words = say_many(
            "{start} to {end} in {count} step", "{start} to {end} in {count} steps", steps,
            start=iso(first.iso), end=f"{last.iso:g}",
        )  # fmt: skip
        return f"{ride_words}: {_every(steps, seconds)}"
    count = done.clicks or 0
    turn = say(
        "{turn} while you walk, {start} to {end}",
        turn=_turned(done.do, turn_words(count, clicks)), start=f_number(first.aperture), end=f_number(last.aperture),
    )  # fmt: skip
    if clicks == STEPLESS:  # there is nothing to count: it is one turn of an even speed
        evenly = say("evenly over {time}", time=_seconds(seconds))
        return f"{turn}: {evenly}"
    return f"{turn}: {_every(count, seconds)}"


def _every(count: int, seconds: float) -> str:
    """How to spread clicks or steps over a take: "one every 0.9 s over 8 s"; one alone has no rhythm."""
    if count == 1:
        return say("halfway through the {time}", time=_seconds(seconds))
    return say("one every {each} over {time}", each=_seconds(seconds / count), time=_seconds(seconds))


def _iso_steps(kit: Kit, first: Rig, last: Rig) -> int:
    """How many positions of the ISO dial the hand goes through, the last one included."""
    start, end = iso_position(first.iso), iso_position(last.iso)
    dial = {end, *(iso_position(speed) for speed in kit.body.iso_allowed)} - {start}
    return sum(min(start, end) <= position <= max(start, end) for position in dial)


def _wrong_ends(kit: Kit, ride: Ride) -> tuple[str, ...]:
    start, end = (move.residual / kit.body.clicks_per_stop for move in (ride.start, ride.end))
    left = []
    if ride.start.score.miss > 0 or abs(start) >= SEEN:
        left.append(say("the start stays {wrong}", wrong=error(start)))
    if ride.end.score.miss > 0 or abs(end) >= SEEN:
        left.append(say("the end stays {wrong}", wrong=error(end)))
    return tuple(left)


def _slow(needed: float, seconds: float) -> str:
    """That the hand needs longer [s] than there is, rounded up so that it never reads as if it were the same."""
    needs = decimal(f"{math.ceil(10 * needed) / 10:g}")
    return say("The hand needs {needs} s, the take has {time}", needs=needs, time=_seconds(seconds))


def _seconds(value: float) -> str:
    """
    A time [s] as it is counted under the breath: whole, or tenths where it is short.

    >>> _seconds(8), _seconds(0.888), _seconds(12.3), _seconds(0.02)
    ('8 s', '0.9 s', '12 s', '0.1 s')
    """
    return f"{value:.0f} s" if value >= 10 else decimal(f"{max(0.1, round(value, 1)):g} s")
