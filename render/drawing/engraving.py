"""Where the music stands on the paper: the systems of an engraved score, and where every moment of it lies in them.

All lengths are in units of which a staff space has eight, as pixels on a screen at its natural size. x runs to the
right and y downwards from the left upper corner of a system.
"""

from __future__ import annotations

from dataclasses import dataclass
from functools import cached_property

import numpy as np

from timing.columns import ROUNDING

SPACE = 8.0  # units between two staff lines
STAFF = 4 * SPACE

# A bar as it stands in a system, from bar line to bar line.
BOX = np.dtype([("bar", np.int32), ("left", np.float64), ("right", np.float64)])

# A moment at which a note is written (grace notes aside): the middle of its leftmost notehead.
MOMENT = np.dtype([("bar", np.int32), ("offset", np.float64), ("x", np.float64)])

# A notehead: its row in Score.heads, and its middle.
HEADMARK = np.dtype([("head", np.int32), ("x", np.float64), ("y", np.float64)])

_BEFORE_FIRST = 1.5 * SPACE  # from the bar line to where a bar without a note at its beginning begins


@dataclass(frozen=True)
class System:
    """One line of music, or its bars alone. `svg` is markup for inside an <svg>: noteheads are in groups with the id
    `n` and their row in Score.heads, bars in groups with the id `b` and their row in Score.bars."""

    svg: str
    width: float
    top: float  # of all that is drawn
    bottom: float
    staff_top: float  # the uppermost staff line
    staff_bottom: float  # the lowest
    bars: np.ndarray  # BOX, left to right
    moments: np.ndarray  # MOMENT, by bar and offset
    heads: np.ndarray  # HEADMARK


@dataclass(frozen=True)
class Engraving:
    """A score on paper of one width. `definitions` are the shapes that the systems refer to, once for all of them;
    `engraved` is False where the bars are drawn without notes."""

    systems: tuple[System, ...]
    definitions: str
    lengths: np.ndarray  # (bars,) of the score, in quarters
    engraved: bool = True

    def place(self, bar: np.ndarray | int, offset: np.ndarray | float) -> tuple[np.ndarray, np.ndarray]:
        """The system (-1: in none) and the x of moments: rows in Score.bars, and quarters into them.

        Between two written moments x runs evenly with the quarters; a bar's end is its right bar line.
        """
        bar, offset = np.broadcast_arrays(np.asarray(bar, np.int64), np.asarray(offset, np.float64))
        system = np.full(bar.shape, -1)
        known = (bar >= 0) & (bar < len(self.lengths))
        system[known] = self._system_of[bar[known]]
        bars, x = self.knots
        if not len(x):
            return system, np.full(bar.shape, np.nan)
        # one axis for all bars: the row, and how far into the bar, which is never more than half of a step
        at = np.clip(offset, 0, None) / (2 * np.maximum(self.lengths[np.where(known, bar, 0)], 1e-9))
        return system, np.where(system >= 0, np.interp(bar + np.minimum(at, 0.5), bars, x), np.nan)

    @cached_property
    def _system_of(self) -> np.ndarray:
        system = np.full(len(self.lengths), -1)
        for number, one in enumerate(self.systems):
            system[one.bars["bar"]] = number
        return system

    @cached_property
    def knots(self) -> tuple[np.ndarray, np.ndarray]:
        """The knots of all bars, end to end: bar row plus half the part of it that is over, and x; between them x runs
        evenly."""
        at, x = [], []
        for system in self.systems:
            moments = system.moments
            first = np.searchsorted(moments["bar"], system.bars["bar"])
            last = np.searchsorted(moments["bar"], system.bars["bar"], side="right")
            for box, low, high in zip(system.bars, first, last, strict=True):
                inside, row = moments[low:high], int(box["bar"])
                length = max(float(self.lengths[row]), 1e-9)
                offsets, places = list(inside["offset"] / length), list(inside["x"])
                if not offsets or offsets[0] > ROUNDING:
                    after = box["left"]
                    if places and row == system.bars["bar"][0]:  # clef and signatures come first
                        after = max(after, places[0] - 2 * _BEFORE_FIRST)
                    begin = min(after + _BEFORE_FIRST, *places, box["right"])
                    offsets, places = [0.0, *offsets], [begin, *places]
                at += [row + min(offset, 1.0) / 2 for offset in [*offsets, 1.0]]
                x += [*places, float(box["right"])]
        order = np.argsort(at, kind="stable")
        return np.array(at)[order], np.array(x)[order]


def divided(boxes: np.ndarray, moments: np.ndarray, bars: np.ndarray) -> tuple[np.ndarray, np.ndarray]:
    """BOX and MOMENT of every part of the bars, from the BOX of whole bars: a part that goes on in a bar of the file
    begins where its first note stands, or between the notes around it."""
    if not bars["continued"].any():
        return boxes, moments
    first = np.append(np.flatnonzero(~bars["continued"]), len(bars))
    made: list[tuple[int, float, float]] = []
    cuts: list[tuple[int, float, float]] = []
    for box in boxes:
        row = int(box["bar"])
        rows = np.arange(row, first[np.searchsorted(first, row, side="right")])
        starts = np.append(0.0, np.cumsum(bars["length"][rows]))
        inside = moments[slice(*np.searchsorted(moments["bar"], (row, rows[-1] + 1)))]
        at, x = starts[inside["bar"] - row] + inside["offset"], inside["x"]
        begin = min(box["left"] + _BEFORE_FIRST, *x, box["right"])
        edges = np.interp(starts[1:-1], [0.0, *at, starts[-1]], [begin, *x, box["right"]])
        made += zip(rows, [box["left"], *edges], [*edges, box["right"]], strict=True)
        cuts += zip(rows[1:], np.zeros(len(edges)), edges, strict=True)
    both = np.concatenate([moments, np.array(cuts, MOMENT)])
    order = np.lexsort((both["offset"], both["bar"]))
    both = both[order]
    same = np.append(False, (np.diff(both["bar"]) == 0) & (np.diff(both["offset"]) < ROUNDING))
    return np.array(made, BOX), both[~same]
