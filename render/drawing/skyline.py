"""How far the drawing reaches at every x, so that what is added finds the nearest free place."""

from __future__ import annotations

import numpy as np

_STEP = 2.0  # units


class Skyline:
    """The outline of all that is drawn below (or, `upwards`, above) a line at y = 0, y running downwards."""

    def __init__(self, width: float, upwards: bool = False):
        self.downwards = not upwards
        self._sign = -1.0 if upwards else 1.0
        self._reach = np.full(int(max(width, 0) / _STEP) + 3, -np.inf)

    def add(self, left: float, right: float, y: float) -> None:
        """Something reaches as far as y between these x."""
        part = self._part(left, right)
        self._reach[part] = np.maximum(self._reach[part], self._sign * y)

    def add_curve(self, x: np.ndarray, y: np.ndarray) -> None:
        """A line runs through these points (x rising)."""
        if not len(x):
            return
        part = self._part(float(x[0]), float(x[-1]))
        at = np.arange(part.start, part.stop) * _STEP
        reach = np.interp(at, x, self._sign * y)
        np.maximum.at(reach, np.clip((x / _STEP).astype(int) - part.start, 0, len(reach) - 1), self._sign * y)
        self._reach[part] = np.maximum(self._reach[part], reach)

    def free(self, left: float, right: float, least: float) -> float:
        """The y from which on nothing lies between these x, at least `least` away from 0."""
        reach = self._reach[self._part(left, right)].max(initial=-np.inf)
        return self._sign * max(reach, least)

    def place(self, left: float, right: float, height: float, least: float = 0.0, gap: float = 2.0) -> float:
        """Take the nearest free place of this height; the answer is its y nearest to the line."""
        y = self.free(left, right, least) + self._sign * gap
        self.add(left, right, y + self._sign * height)
        return y

    @property
    def most(self) -> float:
        """As far as it reaches anywhere (0 if nothing is drawn)."""
        reach = self._reach.max(initial=-np.inf)
        return self._sign * (reach if np.isfinite(reach) else 0.0)

    def _part(self, left: float, right: float) -> slice:
        last = len(self._reach)
        first = int(np.clip(np.floor(left / _STEP), 0, last - 1))
        return slice(first, int(np.clip(np.ceil(right / _STEP) + 1, first + 1, last)))
