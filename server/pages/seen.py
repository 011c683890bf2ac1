"""
Two people at one thing: whoever keeps a form says what they saw when it was drawn, and is asked where that has changed.

A form carries a digest of the figures that it was filled with. Where they are others by the time it comes back, nothing
is kept: the form is drawn again with what was typed, and beside each field what stands now. Sent once more, it stands.
"""

from __future__ import annotations

import hashlib
from typing import TYPE_CHECKING, Any

from sqlalchemy import inspect

from .forms import text

if TYPE_CHECKING:
    from starlette.datastructures import FormData

    from server.book.tables import Table

    from .forms import Typed

# What no form shows: numbers of rows, what follows from the rest, and what is kept elsewhere.
UNSHOWN = frozenset({"id", "stamp", "start", "measured", "measured_spread"})


def seen_of(*rows: Table, only: str = "") -> str:
    """
    A digest of what these rows say.

    only: of the one column that a form is about, where a row has several forms
    """
    figures = [_figures(row, only) for row in rows]
    return hashlib.blake2s(repr(figures).encode("utf-8", "replace"), digest_size=8).hexdigest()


def _figures(row: Table, only: str) -> list[tuple[str, Any]]:
    columns = inspect(type(row)).columns
    named = [only] if only else sorted(column.key for column in columns if column.key not in UNSHOWN)
    return [(name, getattr(row, name)) for name in named]


def is_another(came: FormData, typed: Typed, there: str, *rows: Table, only: str = "") -> bool:
    """
    Whether somebody has changed these rows since the form was drawn; said in the form then.

    A form that does not say what it saw is believed: it is a program's, and has nothing typed to lose.

    there: the address of the page where what stands now is seen
    """
    saw = text(came.get("seen", ""))
    if saw in ("", seen_of(*rows, only=only)):
        return False
    typed.meanwhile = there
    return True
