"""
What the door saw, for whoever runs the server: one line for each time somebody came in, was turned away or let go.

A line is key=value with numbers and words of our own. No name, no secret, nothing that was typed is in it, so nobody
can write lines of their own; of those who were turned away it has the address, as nothing else tells them apart.
"""

from __future__ import annotations

import logging
import sys
import time
from typing import TYPE_CHECKING, Literal

from .limits import address_of

if TYPE_CHECKING:
    from fastapi import Request

What = Literal[
    "came-in", "turned-away", "too-many-tries", "refused", "left", "session-ended", "code-made", "invite-made",
    "invite-ended", "role-changed", "let-go", "data-taken", "data-deleted", "link-made", "link-ended", "failed",
    "database",
]  # fmt: skip

_log = logging.getLogger("lychgate.door")


def heard(what: What, turned_away: Request | None = None, **about: int | str | None) -> None:
    """
    Note what happened.

    turned_away  the request, where its address is to be noted
    about        numbers of the crew, the person, the session; words of our own
    """
    said = {"what": what, **{key: value for key, value in about.items() if value is not None}}
    if turned_away is not None:
        said["from"] = address_of(turned_away)
    _log.info(" ".join(f"{key}={value}" for key, value in said.items()))


def to_stdout() -> None:
    """Write the lines to standard output, with the time in UTC; whoever runs the server keeps them or does not."""
    lines = logging.Formatter("%(asctime)sZ %(name)s %(message)s", "%Y-%m-%dT%H:%M:%S")
    lines.converter = time.gmtime
    writer = logging.StreamHandler(sys.stdout)
    writer.setFormatter(lines)
    _log.addHandler(writer)
    _log.setLevel(logging.INFO)
    _log.propagate = False
