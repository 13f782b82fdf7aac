"""What all pages are told: of everything the newest alone, in the order in which it came.

Each page takes from here at its own pace, so that one that has just come, that slept or that is slow misses only what
is of no interest any more, and nothing piles up for it.
"""

from __future__ import annotations

from bisect import bisect_right
from collections.abc import Callable, Hashable
from threading import Lock


class Board:
    def __init__(self) -> None:
        self._lock = Lock()
        self._serial = 0
        self._serials: list[int] = []  # in order; some stand for what has gone
        self._held: dict[int, str | bytes] = {}
        self._of: dict[Hashable, int] = {}
        self._listeners: list[Callable[[], None]] = []

    def post(self, key: Hashable, content: str | bytes) -> None:
        """Tell something, in the place of what was told under the same key."""
        with self._lock:
            self._held.pop(self._of.pop(key, 0), None)
            self._serial += 1
            self._serials.append(self._serial)
            self._held[self._serial], self._of[key] = content, self._serial
            self._tidy()
            listeners = list(self._listeners)
        for listener in listeners:
            listener()

    def take_down(self, keys: Callable[[Hashable], bool]) -> None:
        """Take down what was told under such keys."""
        with self._lock:
            for key in [key for key in self._of if keys(key)]:
                self._held.pop(self._of.pop(key))
            self._tidy()

    def after(self, serial: int) -> tuple[int, str | bytes] | None:
        """The first thing that was told after this one, with its own serial number; None if there is nothing yet."""
        with self._lock:
            for row in range(bisect_right(self._serials, serial), len(self._serials)):
                if (found := self._serials[row]) in self._held:
                    return found, self._held[found]
        return None

    def listen(self, listener: Callable[[], None]) -> Callable[[], None]:
        """Call `listener`, in whichever thread, when there is something new; what is returned ends that."""
        with self._lock:
            self._listeners.append(listener)

        def leave() -> None:
            with self._lock:
                self._listeners.remove(listener)

        return leave

    def _tidy(self) -> None:
        if len(self._serials) > 2 * len(self._held) + 100:
            self._serials = list(self._held)
