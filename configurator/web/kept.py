"""What was worked out is kept for a while, and worked out once, however many ask for it at the same time."""

from collections import OrderedDict
from collections.abc import Callable, Hashable
from threading import Lock
from typing import Generic, TypeVar

Value = TypeVar("Value")


class _Entry(Generic[Value]):
    def __init__(self) -> None:
        self.lock = Lock()
        self.made: list[Value] = []


class KeptValues(Generic[Value]):
    """The values of the keys asked for last, at most as many as said; one lock a key."""

    def __init__(self, most: int) -> None:
        self._most = most
        self._entries: OrderedDict[Hashable, _Entry[Value]] = OrderedDict()
        self._lock = Lock()

    def get(self, key: Hashable, make: Callable[[], Value]) -> Value:
        """The value kept, or made now; what make raises is not kept."""
        with self._lock:
            entry = self._entries.setdefault(key, _Entry())
            self._entries.move_to_end(key)
            while len(self._entries) > self._most:
                self._entries.popitem(last=False)
        with entry.lock:
            if not entry.made:
                entry.made.append(make())
            return entry.made[0]

    def find(self, key: Hashable) -> Value | None:
        """The value if it is kept."""
        with self._lock:
            entry = self._entries.get(key)
        return entry.made[0] if entry is not None and entry.made else None
