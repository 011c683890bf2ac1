"""
Kit, look and rig, and the actions of the hand that turn one rig into another.

Each value is checked once, where it is made; what exists makes sense.
"""

from __future__ import annotations

import math
from dataclasses import dataclass, field, fields, replace
from typing import TYPE_CHECKING, Literal

from server.language import noted, say

from .flicker import mains_frequency
from .glass import FILTERS_MOST, RINGS_MOST, STACKED_MOST, Filter, Holder, StepUps, screws_on
from .refused import OutOfRange, within
from .scales import (
    ClicksPerStop,
    aperture_position,
    clicks_per_stop,
    exact_f_number,
    iso_position,
    shutter_time,
)

if TYPE_CHECKING:
    from collections.abc import Iterable

ISOS_MOST, SHUTTERS_MOST, BUILT_IN_MOST = 100, 40, 16

TOLERANCE, TOLERANCE_MOST = 0.2, 0.33  # stops of error in the picture that nobody minds
RUSH_TOLERANCE, RUSH_TOLERANCE_MOST = 0.5, 1.0  # stops that are rather mended afterwards


@dataclass(frozen=True, slots=True)
class Body:
    """
    A camera body.

    clicks_per_stop  [1/stop]  of the aperture dial; 10 is a stepless iris, counted in tenths
    iso_base         [speed]   one or two native speeds
    iso_allowed      [speed]   what the shooter will use
    iso_quiet        [speed]   the highest that still shows no noise; None: only the bases
    shutters         [s]       what the shooter will use
    built_in_nd      [stops]   positions of the wheel behind the lens, in its order
    """

    clicks_per_stop: ClicksPerStop
    iso_base: tuple[float, ...]
    iso_allowed: tuple[float, ...]
    shutters: tuple[float, ...]
    iso_quiet: float | None = None
    built_in_nd: tuple[float, ...] = (0.0,)

    def __post_init__(self) -> None:
        clicks_per_stop(self.clicks_per_stop)
        _some("iso.base", self.iso_base, 4)
        _some("iso.allowed", self.iso_allowed, ISOS_MOST)
        _some("shutters", self.shutters, SHUTTERS_MOST)
        _some("built_in_nd", self.built_in_nd, BUILT_IN_MOST)
        for name, speeds in (("iso.base", self.iso_base), ("iso.allowed", self.iso_allowed)):
            for speed in speeds:
                iso_position(speed, name)
        if self.iso_quiet is not None:
            iso_position(self.iso_quiet, "iso.quiet")
        for seconds in self.shutters:
            shutter_time(seconds, "shutters")
        for stops in self.built_in_nd:
            within("built_in_nd", stops, 0, 20, noted("stops"))
        if len(set(self.built_in_nd)) < len(self.built_in_nd):
            raise OutOfRange("built_in_nd", list(self.built_in_nd), say("each position once"))


@dataclass(frozen=True, slots=True)
class Lens:
    """
    A lens.

    widest, smallest  [f-number]  as marked
    thread            [mm]        for filters; None without one
    loss_stops        [stops]     its own light loss, T-stop minus f-stop
    widest_long       [f-number]  the widest at the long end of a zoom, where that is less; None: the same
    """

    widest: float
    smallest: float
    thread: float | None = None
    loss_stops: float = 0.0
    widest_long: float | None = None

    def __post_init__(self) -> None:
        if exact_f_number(self.widest, field="widest") > exact_f_number(self.smallest, field="smallest"):
            raise OutOfRange(
                "widest",
                self.widest,
                say("the smallest, f/{smallest}, or a wider aperture", smallest=f"{self.smallest:g}"),
            )
        if self.thread is not None:
            within("thread", self.thread, 10, 200, "mm")
        within("loss_stops", self.loss_stops, 0, 5, noted("stops"))
        if self.widest_long is not None:
            widest, long, smallest = (
                exact_f_number(n, field=name)
                for n, name in ((self.widest, "widest"), (self.widest_long, "widest_long"), (self.smallest, "smallest"))
            )
            if not widest <= long <= smallest:
                allowed = say("f/{widest} to f/{smallest}", widest=f"{self.widest:g}", smallest=f"{self.smallest:g}")
                raise OutOfRange("widest_long", self.widest_long, allowed)


@dataclass(frozen=True, slots=True)
class Hands:
    """Seconds for each action, and what a stop nearer to the wanted iris is worth. Common practice, no source."""

    pull: float = 3.0
    drop_in: float = 4.0
    holder_off: float = 2.0
    holder_on: float = 3.0
    unscrew: float = 10.0
    screw_on: float = 12.0
    built_in: float = 1.0  # per position of the wheel
    iris: float = 0.45  # per stop turned
    iso: float = 1.5
    shutter: float = 1.5
    stray: float = 3.0  # per stop from the wanted iris; no action
    front_off: float = 4.0
    front_on: float = 6.0
    turn: float = 0.6  # per stop of a variable ND

    def __post_init__(self) -> None:
        for each in fields(self):
            within(f"hands.{each.name}", getattr(self, each.name), 0, 3600, "s")


@dataclass(frozen=True, slots=True)
class Kit:
    """
    One body with one lens on it, a holder or none, and the filters in the pouch, in the shooter's order.

    step_ups [mm]: step-up rings as (from, to).
    """

    body: Body
    lens: Lens
    holder: Holder | None = None
    filters: tuple[Filter, ...] = ()
    hands: Hands = field(default_factory=Hands)
    step_ups: StepUps = ()

    def __post_init__(self) -> None:
        if len(self.filters) > FILTERS_MOST:
            raise OutOfRange(
                "filters", say("{count} filters", count=len(self.filters)), say("at most {most}", most=FILTERS_MOST)
            )
        if len(self.step_ups) > RINGS_MOST:
            raise OutOfRange(
                "step_ups", say("{count} rings", count=len(self.step_ups)), say("at most {most}", most=RINGS_MOST)
            )
        for start, to in self.step_ups:
            within("step_ups", start, 10, 200, "mm")
            within("step_ups", to, start, 200, "mm")
        seen: set[str] = set()
        for piece in self.filters:
            if piece.id in seen:
                raise OutOfRange("filters", piece.id, say("each name once"))
            seen.add(piece.id)

    def filter(self, filter_id: str) -> Filter:
        """The filter with this id; KeyError if the kit has none."""
        for piece in self.filters:
            if piece.id == filter_id:
                return piece
        raise KeyError(filter_id)

    def irises(self, *, long_end: bool = False) -> range:
        """Every aperture position [clicks] between the lens's ends on this body's dial, zoomed in or not."""
        clicks, lens = self.body.clicks_per_stop, self.lens
        widest = lens.widest if lens.widest_long is None or not long_end else lens.widest_long
        return range(aperture_position(widest, clicks), aperture_position(lens.smallest, clicks) + 1)


@dataclass(frozen=True, slots=True)
class Look:
    """
    The iris wanted at a place, and how far it may stray.

    wanted, widest, narrowest  [f-number] as marked
    shutter                    [s]
    tolerance                  [stops] error in the picture that is not minded
    rush_tolerance             [stops] error that is rather mended afterwards than touched for
    worn                       ids of the glass that belongs to the look: a grad, a polariser, diffusion, colour
    long_end                   whether a zoom is at its long end
    mains                      [Hz] the mains frequency of the lamps that light the place: only shutters that are steady
                               under it are used (`flicker.is_steady`); None: any
    """

    wanted: float
    widest: float
    narrowest: float
    shutter: float
    tolerance: float = TOLERANCE
    rush_tolerance: float = RUSH_TOLERANCE
    worn: frozenset[str] = frozenset()
    long_end: bool = False
    mains: int | None = None

    def __post_init__(self) -> None:
        wanted, widest, narrowest = (
            exact_f_number(getattr(self, name), field=f"look.{name}") for name in ("wanted", "widest", "narrowest")
        )
        if not widest <= narrowest:
            raise OutOfRange(
                "look.widest",
                self.widest,
                say("the narrowest, f/{narrowest}, or a wider aperture", narrowest=f"{self.narrowest:g}"),
            )
        if not widest <= wanted <= narrowest:
            raise OutOfRange(
                "look.wanted",
                self.wanted,
                say(
                    "f/{widest} to f/{narrowest}, as the look says",
                    widest=f"{self.widest:g}",
                    narrowest=f"{self.narrowest:g}",
                ),
            )
        shutter_time(self.shutter, "look.shutter")
        # To translate: of light, behind "0 to 0.33"
        within("look.tolerance", self.tolerance, 0, TOLERANCE_MOST, noted("stop"))
        within("look.rush_tolerance", self.rush_tolerance, 0, RUSH_TOLERANCE_MOST, noted("stop"))
        if self.mains is not None:
            mains_frequency(self.mains, "look.mains")


@dataclass(frozen=True, slots=True)
class Rig:
    """
    What is on the camera right now.

    holder_on  whether the holder is mounted; one that is off keeps its filters
    slots      ids of the filters in the holder, front to back in no particular sense
    threads    ids of the filters screwed on; a set of at most two
    front      id of what is in the holder's front ring
    turned     [stops]  what a variable ND in front of the lens is turned to; None without one
    built_in   [stops]  the built-in step
    aperture   [f-number] as marked;  shutter [s];  iso [speed] as marked
    """

    holder_on: bool
    slots: tuple[str, ...]
    threads: tuple[str, ...]
    built_in: float
    aperture: float
    shutter: float
    iso: float
    front: str | None = None
    turned: float | None = None

    def __post_init__(self) -> None:
        exact_f_number(self.aperture, field="rig.aperture")
        shutter_time(self.shutter, "rig.shutter")
        iso_position(self.iso, "rig.iso")

    @property
    def on_lens(self) -> tuple[str, ...]:
        """Ids of the filters in front of the lens now."""
        if not self.holder_on:
            return self.threads
        return (*self.slots, *(() if self.front is None else (self.front,)), *self.threads)


def check_rig(kit: Kit, rig: Rig) -> None:
    """Raise OutOfRange unless this kit can be set up as this rig says."""
    ids = {piece.id for piece in kit.filters}
    front = () if rig.front is None else (rig.front,)
    for name, chosen in (("rig.slots", rig.slots), ("rig.threads", rig.threads), ("rig.front", front)):
        for filter_id in chosen:
            if filter_id not in ids:
                raise OutOfRange(name, filter_id, say("a filter of this kit"))
        if len(set(chosen)) < len(chosen):
            raise OutOfRange(name, list(chosen), say("each filter once"))
    if rig.built_in not in kit.body.built_in_nd:
        raise OutOfRange("rig.built_in", rig.built_in, say("one of {some}", some=_list(kit.body.built_in_nd)))
    _check_holder(kit, rig)
    if len(rig.threads) > STACKED_MOST:
        raise OutOfRange("rig.threads", list(rig.threads), say("at most {most} screwed on", most=STACKED_MOST))
    for filter_id in rig.threads:
        if not screws_on(kit.filter(filter_id), kit.lens.thread, kit.step_ups):
            raise OutOfRange(
                "rig.threads", filter_id, say("a filter for the lens's thread, {thread} mm", thread=kit.lens.thread)
            )
    _check_turned(kit, rig)


def _check_turned(kit: Kit, rig: Rig) -> None:
    variable = [piece for f in rig.on_lens if (piece := kit.filter(f)).kind == "variable_nd"]
    if len(variable) > 1:
        raise OutOfRange("rig.threads", [piece.id for piece in variable], say("one variable ND at most"))
    if not variable:
        if rig.turned is not None:
            raise OutOfRange("rig.turned", rig.turned, say("none, since no variable ND is in front of the lens"))
        return
    clear, dark = variable[0].stops, variable[0].dark_end
    if rig.turned is None or not clear - 1e-6 <= rig.turned <= dark + 1e-6:
        raise OutOfRange(
            "rig.turned",
            rig.turned,
            say("{clear} to {dark} stops, as the variable ND is turned", clear=f"{clear:.2f}", dark=f"{dark:.2f}"),
        )


def _check_holder(kit: Kit, rig: Rig) -> None:
    if kit.holder is None:
        for name, came in (("holder_on", rig.holder_on), ("slots", list(rig.slots)), ("front", rig.front)):
            if came:
                raise OutOfRange(f"rig.{name}", came, say("none, since the kit has no holder"))
        return
    if rig.front is not None and not kit.holder.takes_in_front(kit.filter(rig.front)):
        raise OutOfRange("rig.front", rig.front, say("a filter that the holder's front ring takes"))
    if rig.holder_on and not kit.holder.mounts_on(kit.lens.thread, kit.step_ups):
        raise OutOfRange(
            "rig.holder_on",
            rig.holder_on,
            say("false, since there is no {thread} mm adapter ring", thread=kit.lens.thread),
        )
    if rig.holder_on and rig.threads:
        raise OutOfRange("rig.threads", list(rig.threads), say("none while the holder is mounted"))
    if len(rig.slots) > kit.holder.slots:
        raise OutOfRange("rig.slots", list(rig.slots), say("at most {slots} filters", slots=kit.holder.slots))
    for filter_id in rig.slots:
        if not kit.holder.takes(kit.filter(filter_id)):
            raise OutOfRange(
                "rig.slots", filter_id, say("a {width} mm plate for the holder", width=f"{kit.holder.width:g}")
            )


Do = Literal[
    "holder_off",
    "unscrew",
    "front_off",
    "pull",
    "drop_in",
    "front_on",
    "holder_on",
    "screw_on",
    "turn",
    "built_in",
    "open",
    "close",
    "iso",
    "shutter",
]
GLASS_ACTIONS: frozenset[Do] = frozenset(
    {"pull", "drop_in", "holder_off", "holder_on", "unscrew", "screw_on", "front_off", "front_on"}
)


@dataclass(frozen=True, slots=True)
class Action:
    """
    One thing the hand does. `filter` for filters, `clicks` [clicks] for the iris, `to` for the others:
    [stops] built-in and variable ND, [speed] ISO, [s] shutter. `seconds` [s] is what it takes.
    """

    do: Do
    seconds: float
    filter: str | None = None
    clicks: int | None = None
    to: float | None = None


def actions(kit: Kit, now: Rig, then: Rig) -> tuple[Action, ...]:
    """
    What the hand does to turn one rig into another, in the order it does it. Both must be rigs of this kit.

    The seconds add up to the move's hand_seconds.
    """
    hands, clicks = kit.hands, kit.body.clicks_per_stop
    done: list[Action] = []
    if now.holder_on and not then.holder_on:
        done.append(Action("holder_off", hands.holder_off))
    done += [Action("unscrew", hands.unscrew, filter=f) for f in now.threads if f not in then.threads]
    if now.front is not None and now.front != then.front:
        done.append(Action("front_off", hands.front_off, filter=now.front))
    done += [Action("pull", hands.pull, filter=f) for f in now.slots if f not in then.slots]
    done += [Action("drop_in", hands.drop_in, filter=f) for f in then.slots if f not in now.slots]
    if then.front is not None and now.front != then.front:
        done.append(Action("front_on", hands.front_on, filter=then.front))
    if then.holder_on and not now.holder_on:
        done.append(Action("holder_on", hands.holder_on))
    done += [Action("screw_on", hands.screw_on, filter=f) for f in then.threads if f not in now.threads]
    if then.turned is not None and (turns := _turns(kit, now, then)) is not None:
        done.append(Action("turn", hands.turn * turns, to=then.turned))
    wheel = kit.body.built_in_nd
    if positions := abs(wheel.index(then.built_in) - wheel.index(now.built_in)):
        done.append(Action("built_in", hands.built_in * positions, to=then.built_in))
    if turn := aperture_position(then.aperture, clicks) - aperture_position(now.aperture, clicks):
        seconds = hands.iris * abs(turn) / clicks
        done.append(Action("close" if turn > 0 else "open", seconds, clicks=abs(turn)))
    if iso_position(then.iso) != iso_position(now.iso):
        done.append(Action("iso", hands.iso, to=then.iso))
    if then.shutter != now.shutter:
        done.append(Action("shutter", hands.shutter, to=then.shutter))
    return tuple(done)


def _turns(kit: Kit, now: Rig, then: Rig) -> float | None:
    """
    How far a variable ND is turned [stops]; None where it stays.

    One that is only now mounted is set on its way to the lens, which takes no time of its own.
    """
    variable = next((f for f in then.on_lens if kit.filter(f).kind == "variable_nd"), None)
    if now.turned is None or variable not in now.on_lens:
        return 0.0
    turned = abs((then.turned or 0.0) - now.turned)
    return turned if turned > 1e-9 else None


def glass_stops(kit: Kit, rig: Rig) -> float:
    """What everything between the subject and the sensor takes [stops]: filters, built-in step, the lens's loss."""
    plain = (piece.stops for f in rig.on_lens if (piece := kit.filter(f)).kind != "variable_nd")
    return math.fsum((*plain, rig.turned or 0.0, rig.built_in, kit.lens.loss_stops))


def _some(name: str, values: tuple[float, ...], most: int) -> None:
    if not 1 <= len(values) <= most:
        raise OutOfRange(name, say("{count} values", count=len(values)), say("1 to {most} values", most=most))


def _list(values: Iterable[float]) -> str:
    return ", ".join(f"{value:g}" for value in values)


def nearest_rig(kit: Kit, rig: Rig) -> Rig:
    """
    The rig that this kit allows and that differs least: what is not in the kit, or does not fit, is off the camera.

    For a lens that was changed, or a kit that was changed while the rig was on; iris, shutter and ISO stay as they are.
    Where more fits than there is room for, the first in the kit's order stay, in the order that they sit in: a day
    knows the plates in a holder as a set (`changes.nearest`).
    """
    known = {piece.id: piece for piece in kit.filters}  # in the kit's order
    holder = kit.holder
    slots = tuple(f for f in rig.slots if f in known and holder is not None and holder.takes(known[f]))
    threads = tuple(f for f in rig.threads if f in known and screws_on(known[f], kit.lens.thread, kit.step_ups))
    in_front = known.get(rig.front or "")
    front = rig.front if in_front is not None and holder is not None and holder.takes_in_front(in_front) else None
    mounted = rig.holder_on and holder is not None and holder.mounts_on(kit.lens.thread, kit.step_ups)
    threads = _one_variable(known, threads)
    if mounted:  # one that is off may hold two
        slots = _one_variable(known, slots)
    fitted = replace(
        rig,
        holder_on=mounted,
        slots=_first_of(known, slots, holder.slots) if holder is not None else (),
        threads=() if mounted else _first_of(known, threads, STACKED_MOST),
        front=front,
        built_in=rig.built_in if rig.built_in in kit.body.built_in_nd else kit.body.built_in_nd[0],
        turned=None,
    )
    return replace(fitted, turned=_turned_on(known, fitted, rig.turned))


def _one_variable(known: dict[str, Filter], chosen: tuple[str, ...]) -> tuple[str, ...]:
    """These without any variable ND but the kit's first: a kit that was put right may call two of them so."""
    variable = tuple(f for f in chosen if known[f].kind == "variable_nd")
    return tuple(f for f in chosen if f not in variable or f in _first_of(known, variable, 1))


def _first_of(known: dict[str, Filter], chosen: tuple[str, ...], most: int) -> tuple[str, ...]:
    """So many of these at most, as they stand: those that come first in the kit."""
    first = [f for f in known if f in chosen][:most]
    return tuple(f for f in chosen if f in first)


def _turned_on(known: dict[str, Filter], rig: Rig, turned: float | None) -> float | None:
    """What the variable ND on the lens is turned to: as far as it was, or its clear end."""
    variable = next((known[f] for f in rig.on_lens if known[f].kind == "variable_nd"), None)
    if variable is None:
        return None
    return min(max(variable.stops if turned is None else turned, variable.stops), variable.dark_end)
