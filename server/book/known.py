"""What was read once for a stamp stays true for it: stamps change with what they stand for, and never come again."""

from __future__ import annotations

import threading
from typing import TYPE_CHECKING, Generic, TypeVar

if TYPE_CHECKING:
    from collections.abc import Callable

Key = TypeVar("Key")
Value = TypeVar("Value")

KNOWN_MOST = 500


class Known(Generic[Key, Value]):
    """The last so many values by their stamps. Values must be frozen: every reader gets the same one."""

    def __init__(self) -> None:
        self._values: dict[Key, Value] = {}
        self._lock = threading.Lock()

    def get(self, key: Key, read: Callable[[], Value]) -> Value:
        """The value of this key, read where it is not known yet."""
        value = self._values.get(key)
        if value is None:
            value = read()
            with self._lock:
                while len(self._values) >= KNOWN_MOST:
                    self._values.pop(next(iter(self._values)))
                self._values[key] = value
        return value
