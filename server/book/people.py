"""Who does something, as far as the book must know."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Literal, get_args

Role = Literal["guest", "second", "lead"]
ROLES: tuple[Role, ...] = get_args(Role)  # each may do what those before it may
AT_THE_MACHINE = "shooter"  # what is written for whoever opens the demo on its own machine
SOMEBODY = "somebody"  # what is written for whoever's name was taken out
THE_SERVER = "the server"  # what is written for whoever makes an invite on the command line


@dataclass(frozen=True, slots=True)
class Member:
    """
    Somebody of a crew. name is written beside what they keep.

    person  their number among the crew's people; None: whoever opens the demo on its own machine
    """

    crew: int
    name: str
    role: Role = "lead"
    person: int | None = None


def first_camera(crew: int) -> Member:
    """Whoever asks about the day's first camera, not about one of their own."""
    return Member(crew, "")
