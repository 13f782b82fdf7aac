"""The performed order as a fit sees it: interval by interval, with what is one place of the score heard again."""

from __future__ import annotations

from dataclasses import dataclass, field
from functools import cached_property
from typing import Any

import numpy as np

from timing.columns import NEAR, WITHIN
from timing.fitting.pairs import Pairs
from timing.fitting.shapes import Dictionary
from timing.plan.position import Position, Range
from timing.where import Passes, Run, Where
from timing.where.naming import range_at


@dataclass(frozen=True, eq=False)
class Remembering(Where):
    """A performed order that remembers where ranges and positions lie in it: a fit asks for the same ones again."""

    _asked: dict[Any, Any] = field(default_factory=dict)

    def runs(self, bars: Range, passes: Passes = None, arriving: bool = False) -> list[Run]:
        """As `Where.runs`."""
        key = bars, passes, arriving
        if key not in self._asked:
            self._asked[key] = super().runs(bars, passes, arriving)
        return self._asked[key]

    def moments(self, position: Position, passes: Passes = None, after: bool = False) -> np.ndarray:
        """As `Where.moments`."""
        key = position, passes, after
        if key not in self._asked:
            self._asked[key] = super().moments(position, passes, after)
        return self._asked[key]


@dataclass(frozen=True, eq=False)
class Course:
    """The intervals between pairs, and where they lie. All columns have a row an interval, if nothing else is said."""

    where: Where
    pairs: Pairs

    @property
    def starts(self) -> np.ndarray:
        """Quarters at which each begins."""
        return self.pairs.quarters[:-1]

    @cached_property
    def ordinals(self) -> np.ndarray:
        """The performed bar in which each begins."""
        begun = np.searchsorted(self.where.bars["start"], self.pairs.quarters + NEAR, side="right") - 1
        return np.clip(begun, 0, len(self.where.bars) - 1)[:-1]

    @cached_property
    def lines(self) -> np.ndarray:
        """The line of neighbouring bars of each."""
        return np.append(0, np.cumsum(~self.where.neighbours))[self.ordinals]

    @cached_property
    def _group(self) -> tuple[np.ndarray, np.ndarray]:
        bars = self.where.bars[self.ordinals]
        offsets = np.round(self.starts - bars["start"], 4)
        places = np.stack([bars["row"], offsets, np.round(self.pairs.spans, 4)], axis=1)
        _, which, counts = np.unique(places, axis=0, return_inverse=True, return_counts=True)
        return which.ravel(), counts

    @property
    def heard(self) -> np.ndarray:
        """How often the place of each is heard in the stretch."""
        which, counts = self._group
        return counts[which]

    def shared(self, values: np.ndarray) -> np.ndarray:
        """The mean of these values over all hearings of the place of each."""
        which, counts = self._group
        return (np.bincount(which, values) / counts)[which]

    @cached_property
    def edges(self) -> np.ndarray:
        """(n,) of each pair, whether a shape may begin or end there: on a beat of the metre; anywhere, if few are."""
        bars = self.where.bars[np.append(self.ordinals, self.ordinals[-1])]
        beat = (self.pairs.quarters - bars["start"] + bars["shift"]) * bars["unit"] / 4
        whole = np.abs(beat - np.round(beat)) < 1e-3
        return whole if whole.mean() > 0.3 else np.ones(len(whole), bool)

    @cached_property
    def bar(self) -> int:
        """Intervals of a usual bar."""
        full = 4 * self.where.bars["beats"] / self.where.bars["unit"]
        return max(round(float(np.median(full) / np.median(self.pairs.spans))), 1)

    @cached_property
    def dictionary(self) -> Dictionary:
        """The shapes that these intervals may have."""
        return Dictionary(self.pairs.spans, self.bar)

    @cached_property
    def bars_played(self) -> float:
        """Length of the stretch in usual bars."""
        return len(self.starts) / self.bar

    def range_text(self, start: float, end: float) -> str:
        """The range from one quarter to another, as a plan writes it."""
        places = []
        for quarters, ordinal in ((start, self.where.ordinal(start)), (end, self.where.ordinal(end - WITHIN))):
            bar = self.where.bars[ordinal]
            places.append((int(bar["row"]), quarters - float(bar["start"])))
        return str(range_at(self.where.score, *places))

    def within(self, start: float, end: float) -> slice:
        """The intervals of which some part lies between these quarters."""
        first = np.searchsorted(self.pairs.quarters[1:], start + NEAR, side="right")
        last = np.searchsorted(self.pairs.quarters[:-1], end - NEAR)
        return slice(int(first), int(last))
