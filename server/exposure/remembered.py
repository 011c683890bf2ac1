"""Remembering what was worked out, as far as the memory that is set aside for it goes."""

from __future__ import annotations

from threading import Lock
from typing import TYPE_CHECKING, Any, ParamSpec, TypeVar

from cachetools import LRUCache, cached

if TYPE_CHECKING:
    from collections.abc import Callable

CELLS_MOST = 4_000_000  # numbers in the arrays of one kind of value: some 32 MB

Asked = ParamSpec("Asked")
Value = TypeVar("Value")


def remembered(cells: Callable[[Any], int]) -> Callable[[Callable[Asked, Value]], Callable[Asked, Value]]:
    """
    A function that remembers its newest values by their arguments, up to CELLS_MOST cells in all.

    cells: how many numbers a value holds. One that is too large alone is worked out anew each time: a bound by count
    would let a few calls about the largest kits hold gigabytes.
    """
    cache: LRUCache[Any, Any] = LRUCache(CELLS_MOST, getsizeof=cells)
    return cached(cache, lock=Lock())
