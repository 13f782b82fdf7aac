"""The curves of one reading in one system, as points on the paper."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from render.drawing.engraving import Engraving, System

SLOWER, FASTER = 40.0, 15.0  # units from the basic tempo to the slowest and the fastest pace that has room
_SLOWEST, _FASTEST = 0.4, 1.35
_SLOWER_BEND, _FASTER_BEND = 3.5, 2.5
_SOFTEST, _LOUDEST = 0.8, 12.0  # units from the axis of the level to its edge at ppp (and below) and at fff
_PPP = -28.0  # dB
_OPENING = 1.3  # how much more the swell opens where it is loud
_SAME = 1e-3  # of the basic tempo, or dB
_FLAT = 0.04  # units; what bends less is straight


@dataclass(frozen=True)
class Line:
    """A stretch of neighbouring performed bars that is drawn in one go: x, and a value at each."""

    x: np.ndarray
    value: np.ndarray
    pass_: int
    ordinals: np.ndarray  # the performed bars
    first: bool  # nothing else is drawn of these bars

    @property
    def kind(self) -> str:
        """The class that says by its dashes on which pass it is; what is drawn of a bar at first is never broken."""
        return f"pass{1 if self.first else min(self.pass_, 3)}"


def pace_y(pace: np.ndarray) -> np.ndarray:
    """How far under (or, less than 0, over) the line of the basic tempo a pace lies, in units: even in log pace near
    it, slowing with more room than hurrying, and neither ever far off."""
    log = np.log(np.maximum(pace, 1e-6))
    slow = np.clip(log / np.log(_SLOWEST), 0, 1.3)
    fast = np.clip(log / np.log(_FASTEST), 0, 1.3)
    down = SLOWER * np.arcsinh(_SLOWER_BEND * slow) / np.arcsinh(_SLOWER_BEND)
    up = FASTER * np.arcsinh(_FASTER_BEND * fast) / np.arcsinh(_FASTER_BEND)
    return np.where(log < 0, down, -up)


def level_y(level: np.ndarray) -> np.ndarray:
    """Half the width of the swell at a level in dB, in units."""
    return _SOFTEST + (_LOUDEST - _SOFTEST) * np.clip((level - _PPP) / -_PPP, 0, 1.2) ** _OPENING


def lines_of(
    points: np.ndarray, like: np.ndarray, bars: np.ndarray, neighbours: np.ndarray, system: System, engraving: Engraving
) -> list[Line]:
    """The lines of a curve (POINT) in a system. `like` (bars,) says which hearing each performed bar looks like: those
    that look like an earlier one are left out."""
    here = np.isin(bars["row"], system.bars["bar"]) & (like == np.arange(len(bars)))
    ordinals = np.flatnonzero(here)
    if not len(points) or not len(ordinals):
        return []
    rows = bars["row"][ordinals]
    first = np.zeros(len(ordinals), bool)
    first[np.unique(rows, return_index=True)[1]] = True
    kind = np.where(first, 0, bars["pass"][ordinals])
    breaks = np.flatnonzero((np.diff(ordinals) != 1) | ~neighbours[ordinals[:-1]] | (np.diff(kind) != 0))
    made = []
    for stretch, alone in zip(np.split(ordinals, breaks + 1), np.split(first, breaks + 1), strict=True):
        mine = points[slice(*np.searchsorted(points["ordinal"], (stretch[0], stretch[-1] + 1)))]
        mine = mine[~_passed_over(mine)]
        x = engraving.place(mine["bar"], mine["offset"])[1]
        made.append(Line(x, mine["value"], int(bars["pass"][stretch[0]]), stretch, bool(alone[0])))
    return made


def _passed_over(points: np.ndarray) -> np.ndarray:
    """(n,) the ends of bars where the curve goes on unchanged: the first note of the next bar is that moment, too."""
    over = np.zeros(len(points), bool)
    crosses = (np.diff(points["ordinal"]) > 0) & (np.abs(np.diff(points["value"])) < _SAME)
    ends = np.flatnonzero(crosses)
    over[ends] = True
    over[ends[ends > 0] - 1] |= points["offset"][ends[ends > 0] - 1] == points["offset"][ends[ends > 0]]
    return over


def thinned(x: np.ndarray, y: np.ndarray, kept: np.ndarray) -> np.ndarray:
    """(n,) which points are needed: the ends, those to be `kept`, and those at which the line bends."""
    needed = np.ones(len(x), bool)
    if len(x) > 2:
        span = np.maximum(x[2:] - x[:-2], 1e-9)
        straight = y[:-2] + (y[2:] - y[:-2]) * (x[1:-1] - x[:-2]) / span
        flat = (np.abs(y[2:] - y[:-2]) < 1e-3) & (np.abs(straight - y[1:-1]) < _FLAT)
        needed[1:-1] = ~flat | kept[1:-1]
    return needed


def path(x: np.ndarray, y: np.ndarray) -> str:
    """SVG path data through these points."""
    return "M" + "L".join(f"{a:.1f} {b:.1f}" for a, b in zip(x.tolist(), y.tolist(), strict=True))
