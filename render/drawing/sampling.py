"""Pace and level of a reading as points along its performed bars, and which hearings of a bar look alike."""

from __future__ import annotations

from collections.abc import Callable

import numpy as np

from timing.columns import spread
from timing.performance import MELODY
from timing.reading import Reading
from timing.timemap import TimeMap

# A point of a curve: the performed bar, its row in the score, the quarters into it, and the value there. At a step
# there are two at one offset, what is left and what is come to.
POINT = np.dtype(
    [("ordinal", np.int32), ("bar", np.int32), ("offset", np.float64), ("value", np.float64), ("pass", np.int16)]
)

_ONE_PLACE = 1e-7  # quarters: what is nearer is sampled once
_GRID = 12  # even parts of a bar at which a curve is sampled at least
# Of the basic tempo, and in dB: less than anyone can hear (some 2 % are what practised listeners tell apart in a
# regular beat: C. Drake and M.-C. Botte, Perception & Psychophysics 54, 1993, from memory).
_SAME_PACE, _SAME_LEVEL = 0.02, 0.25


def pace_points(reading: Reading) -> np.ndarray:
    """POINT table of the pace against the basic tempo (1 is in tempo), without what holds add: under a fermata nobody
    beats time."""
    freely = reading.performance.time.pieces.copy()
    freely["hold"] = 1.0
    time = TimeMap(freely)
    bars = reading.performance.bars

    def pace(quarters: np.ndarray, before: bool) -> np.ndarray:
        return time.tempo(quarters, before) / time.basic(quarters, before)

    return _sampled(bars, _offsets(reading, time.knots), pace)


def level_points(reading: Reading) -> np.ndarray:
    """POINT table of the level of the melody in dB: that of its latest note, and how it moves meanwhile. Where no voice
    is the melody the highest notes count; none where nothing sounds."""
    notes, level = reading.performance.notes, reading.level
    rows = np.flatnonzero(notes["role"] == MELODY) if (notes["role"] == MELODY).any() else np.arange(len(notes))
    if not len(rows):
        return np.zeros(0, POINT)
    rows = rows[np.lexsort([notes[column][rows] for column in ("step", "id", "pitch", "score_onset")])]
    begun = notes["score_onset"][rows]

    def heard(quarters: np.ndarray, before: bool) -> np.ndarray:
        # of notes that begin together the highest is the last; before the first note its own level
        at = np.searchsorted(begun, quarters - _ONE_PLACE if before else quarters + _ONE_PLACE, side="right") - 1
        row = rows[np.clip(at, 0, None)]
        return level.own[row] + level.moving(row, quarters - 3e-9 if before else quarters)

    return _sampled(reading.performance.bars, _offsets(reading, np.append(level.corners, begun)), heard)


def alike(points: np.ndarray, bars: np.ndarray, same: float) -> np.ndarray:
    """(bars,) the first hearing that each performed bar looks like: itself where it is the first to look so."""
    if not len(points):
        return np.arange(len(bars))
    first = np.searchsorted(points["ordinal"], np.arange(len(bars)))
    last = np.searchsorted(points["ordinal"], np.arange(len(bars)), side="right")
    looks = np.arange(len(bars))
    by_row: dict[int, list[int]] = {}
    for ordinal, row in enumerate(bars["row"].tolist()):
        mine = points["value"][first[ordinal] : last[ordinal]]
        for other in by_row.setdefault(row, []):
            if np.all(np.abs(points["value"][first[other] : last[other]] - mine) <= same):
                looks[ordinal] = other
                break
        else:
            by_row[row].append(ordinal)
    return looks


def same_pace(points: np.ndarray, bars: np.ndarray) -> np.ndarray:
    return alike(points, bars, _SAME_PACE)


def same_level(points: np.ndarray, bars: np.ndarray) -> np.ndarray:
    return alike(points, bars, _SAME_LEVEL)


def _offsets(reading: Reading, knots: np.ndarray) -> tuple[np.ndarray, np.ndarray]:
    """Bar rows and the offsets in them, sorted, at which curves are sampled: the same on every hearing."""
    score, bars = reading.score, reading.performance.bars
    lengths = score.bars["length"].astype(np.float64)
    even_rows = np.repeat(np.arange(len(lengths)), _GRID + 1)
    even = np.tile(np.linspace(0, 1, _GRID + 1), len(lengths)) * lengths[even_rows]
    ordinal = np.clip(np.searchsorted(bars["start"], knots, side="right") - 1, 0, len(bars) - 1)
    rows = np.concatenate([even_rows, bars["row"][ordinal], score.notes["bar"]])
    offsets = np.concatenate([even, knots - bars["start"][ordinal], score.notes["offset"]])
    offsets = np.clip(offsets, 0, lengths[rows])
    order = np.lexsort((offsets, rows))
    rows, offsets = rows[order], offsets[order]
    fresh = np.append(True, (np.diff(rows) > 0) | (np.diff(offsets) > _ONE_PLACE))
    return rows[fresh], offsets[fresh]


def _sampled(
    bars: np.ndarray, grid: tuple[np.ndarray, np.ndarray], value: Callable[[np.ndarray, bool], np.ndarray]
) -> np.ndarray:
    """POINT table of every hearing: at each offset what is left, and where that differs what is come to."""
    rows, offsets = grid
    first, last = np.searchsorted(rows, bars["row"]), np.searchsorted(rows, bars["row"], side="right")
    ordinal, place = spread(last - first)
    at = first[ordinal] + place
    points = np.zeros(2 * len(at), POINT)
    points["ordinal"], points["bar"] = np.repeat(ordinal, 2), np.repeat(bars["row"][ordinal], 2)
    points["offset"], points["pass"] = np.repeat(offsets[at], 2), np.repeat(bars["pass"][ordinal], 2)
    quarters = bars["start"][ordinal] + offsets[at]
    opens, closes = np.append(True, np.diff(ordinal) > 0), np.append(np.diff(ordinal) > 0, True)
    left, come = value(quarters, True), value(quarters, False)
    points["value"][::2] = np.where(opens, come, left)
    points["value"][1::2] = np.where(closes, left, come)
    return points
