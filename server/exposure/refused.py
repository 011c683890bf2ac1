"""Bad input, said so that a person can act on it."""

from __future__ import annotations

from typing import Never

from server.language import say

CAME_SHOWN = 60  # characters of what came that are quoted back; more would bury the sentence


class Refused(ValueError):
    """What was asked cannot be done. The message is a sentence for the person who asked."""


class OutOfRange(Refused):
    """
    A figure or a word outside its limits.

    field    the path of the field, in the words of the JSON: "look.wanted"
    came     what came in it
    allowed  what may come: "0.5 to 128"
    """

    def __init__(self, field: str, came: object, allowed: str) -> None:
        self.field, self.came, self.allowed = field, shown(came), allowed
        super().__init__(f"{field}: {self.came} came, allowed is {allowed}")


def shown(came: object) -> str:
    """What came, short enough to quote and safe to send in any encoding."""
    if came is None or came == "":
        return say("nothing")
    if isinstance(came, bool):
        return str(came).lower()  # as JSON has it
    text = ascii(came) if not isinstance(came, str) else came.encode("utf-8", "replace").decode()
    return text if len(text) <= CAME_SHOWN else text[:CAME_SHOWN] + "…"


def within(field: str, came: float, low: float, high: float, unit: str = "") -> None:
    """
    Raise OutOfRange unless low <= came <= high. NaN is outside every range.

    >>> within("iso", 100, 1, 10_000_000)
    >>> within("iso", float("nan"), 1, 10_000_000)
    Traceback (most recent call last):
    server.exposure.refused.OutOfRange: iso: nan came, allowed is 1 to 10000000
    """
    if not low <= came <= high:
        least, most = f"{low:.10g}", f"{high:.10g}"
        allowed = say("{low} to {high}", low=least, high=most)
        raise OutOfRange(field, came, f"{allowed} {say(unit)}" if unit else allowed)


def refuse(field: str, came: object, allowed: str) -> Never:
    """Raise OutOfRange; for the end of an expression or a chain of ifs."""
    raise OutOfRange(field, came, allowed)
