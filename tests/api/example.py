"""The contract's request for a move, and what the contract says of it, written out by hand."""

from __future__ import annotations

import copy
import math
from typing import Any

REQUEST: dict[str, Any] = {
    "body": {
        "clicks_per_stop": 3,
        "iso": {"base": [100, 800], "allowed": [100, 125, 160, 800], "quiet": 160},
        "shutters": [0.02, 0.008],
        "built_in_nd": [0, 2, 4, 6],
    },
    "lens": {"widest": 1.8, "smallest": 16, "thread": 77, "loss_stops": 0},
    "holder": {"width": 100, "slots": 2, "rings": [77, 82]},
    "filters": [
        {"id": "grey6", "kind": "nd", "mount": "slot", "width": 100, "density": 0.6},
        {"id": "round18", "kind": "nd", "mount": "thread", "thread": 77, "density": 1.8},
    ],
    "look": {"wanted": 2.8, "widest": 2.0, "narrowest": 4.0, "shutter": 0.02},
    "rig": {
        "holder_on": True, "slots": ["grey6"], "threads": [], "built_in": 0,
        "aperture": 2.8, "shutter": 0.02, "iso": 100,
    },
    "hands": {
        "pull": 3, "drop_in": 4, "holder_off": 2, "holder_on": 3, "unscrew": 10, "screw_on": 12,
        "built_in": 1, "iris": 0.45, "iso": 1.5, "shutter": 1.5, "stray": 3,
    },
    "light": {"ev100": 6.0},
}  # fmt: skip

GLASS = ("pull", "drop_in", "holder_off", "holder_on", "unscrew", "screw_on")
ORDER = (
    "holder_off", "unscrew", "pull", "drop_in", "holder_on", "screw_on", "built_in", "open", "close", "iso", "shutter",
)  # fmt: skip


def request(**changes: Any) -> dict[str, Any]:
    """The request with some fields changed, each by its path: request(light__ev100=12, holder=None)."""
    made = copy.deepcopy(REQUEST)
    for path, value in changes.items():
        *above, last = (int(part) if part.isdigit() else part for part in path.split("__"))
        into: Any = made
        for part in above:
            into = into[part]
        into[last] = value
    return made


def third_stop(n: float) -> int:
    """The position of a marked f-number on a third-stop dial, where marks stand for sixths of log2."""
    return round(6 * math.log2(n))


def after(rig: dict[str, Any], actions: list[dict[str, Any]]) -> dict[str, Any]:
    """The rig that a hand has after these actions, on a third-stop dial; the iris as its position."""
    slots, threads = set(rig["slots"]), set(rig["threads"])
    then = dict(rig, aperture=third_stop(rig["aperture"]))
    for action in actions:
        match action["do"]:
            case "holder_off" | "holder_on" as do:
                assert then["holder_on"] == (do == "holder_off"), "the holder is there already"
                then["holder_on"] = do == "holder_on"
            case "pull":
                slots.remove(action["filter"])
            case "drop_in":
                assert action["filter"] not in slots, "the filter is in its slot already"
                slots.add(action["filter"])
            case "unscrew":
                threads.remove(action["filter"])
            case "screw_on":
                assert action["filter"] not in threads, "the filter is on already"
                threads.add(action["filter"])
            case "open":
                then["aperture"] -= action["clicks"]
            case "close":
                then["aperture"] += action["clicks"]
            case "built_in" | "iso" | "shutter" as do:
                then[do] = action["to"]
    return then | {"slots": slots, "threads": threads}


def same(rig: dict[str, Any]) -> dict[str, Any]:
    """An answer's rig in the form that `after` gives."""
    return rig | {"aperture": third_stop(rig["aperture"]), "slots": set(rig["slots"]), "threads": set(rig["threads"])}


def seconds(asked: dict[str, Any], actions: list[dict[str, Any]]) -> tuple[float, float]:
    """What a hand needs for these actions on a third-stop dial, and the part of it spent on glass [s]."""
    hands, wheel = asked["hands"], asked["body"]["built_in_nd"]
    all_seconds = glass_seconds = 0.0
    for action in actions:
        do = action["do"]
        if do in ("open", "close"):
            all_seconds += hands["iris"] * action["clicks"] / 3
        elif do == "built_in":
            all_seconds += hands["built_in"] * abs(wheel.index(action["to"]) - wheel.index(asked["rig"]["built_in"]))
        else:
            all_seconds += hands[do]
            glass_seconds += hands[do] if do in GLASS else 0
    return all_seconds, glass_seconds
