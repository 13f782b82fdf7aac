"""The clock of a MIDI file: which seconds its ticks stand for, and the tempi that say so.

A bar line at score position s lies at tick resolution·s. The tempo track makes up for the rest: it is straight between
moments (beats, onsets, ends), and wherever a reader's clock would leave the plan the tempo changes, so that rounding
never adds up. Any reader's seconds equal the plan's, whatever the resolution.
"""

from __future__ import annotations

from dataclasses import dataclass
from math import ceil, floor

import numpy as np

from timing.performance import Performance
from timing.where.beats import beats_of

FINEST = 30_720  # ticks a quarter; the format's limit is 32,767
MOST_TICKS = 9_900_000  # some readers refuse files of more than 10^7 ticks
PATIENCE = 50e-6  # seconds that a reader's clock may be off

_SAME = 10e-6  # seconds; what is closer is one moment
_ANY = 2**62


@dataclass(frozen=True)
class Clock:
    """`ticks` and their planned `seconds`, both strictly increasing, with so many ticks a quarter (`resolution`)."""

    resolution: int
    ticks: np.ndarray
    seconds: np.ndarray

    def at(self, seconds: np.ndarray) -> np.ndarray:
        """Ticks at these seconds: the clock is straight between its moments."""
        return np.rint(np.interp(seconds, self.seconds, self.ticks.astype(np.float64))).astype(np.int64)


def resolution_for(performance: Performance) -> int:
    """Ticks a quarter: as fine as the format and common readers allow, a multiple of 480 or 24 if it can be (so that
    triplets and quintuplets fall on ticks)."""
    last = performance.notes["end"].max(initial=0)
    quarters = max(performance.quarters, float(performance.time.quarters(last)), 1)
    finest = int(np.clip(MOST_TICKS // quarters, 1, FINEST))
    return next((finest - finest % step for step in (480, 24) if finest >= step), finest)


def clock_of(performance: Performance) -> Clock:
    """A clock with every moment that matters: bar lines, beats, corners of the pace, onsets and ends.

    What is written stands on its tick. What is displaced in time (a leading voice, a small note) stands where the music
    is at that second, or a tick or two away where ticks are coarse, since each moment needs one of its own.
    """
    resolution = resolution_for(performance)
    time, notes, bars = performance.time, performance.notes, performance.bars
    lines = np.append(bars["start"], performance.quarters)
    beats = beats_of(bars, 4 / bars["unit"])
    counted = bars["start"][beats["row"]] + beats["start"]
    written = (lines, counted, notes["score_onset"], notes["score_onset"] + notes["score_length"])
    stop = max(performance.quarters, float(time.quarters(notes["end"].max(initial=0))))
    planned = np.unique(np.concatenate([*written, time.knots, [stop]]))
    sounding = np.unique(np.concatenate([notes["onset"], notes["end"]]))
    seconds = np.concatenate([time.seconds(planned), sounding])
    quarters = np.concatenate([planned, np.interp(sounding, seconds[: len(planned)], planned)])
    rank = np.zeros(len(quarters), np.int64)
    rank[: len(planned)] = np.isin(planned, np.concatenate(written)) + np.isin(planned, lines).astype(np.int64)

    order = np.argsort(seconds, kind="stable")
    moment = np.cumsum(np.diff(seconds[order], prepend=-1) > _SAME) - 1
    order = order[np.lexsort((-rank[order], moment))]  # a bar line stands for all that is played at its moment
    stands = order[np.flatnonzero(np.diff(moment, prepend=-1))]
    wanted, seconds, rank = np.rint(quarters[stands] * resolution).astype(np.int64), seconds[stands], rank[stands]
    placed = (one_each(wanted, rank >= kept) for kept in (1, 2))
    ticks = next((found for found in placed if found is not None), wanted)
    chosen = np.lexsort((-rank, ticks))
    chosen = chosen[np.diff(ticks[chosen], prepend=-1) > 0]
    return Clock(resolution, ticks[chosen], seconds[chosen])


def one_each(ticks: np.ndarray, fixed: np.ndarray) -> np.ndarray | None:
    """The nearest ticks to these that increase by one or more; those that are fixed stay. None if there is no room."""
    place = np.arange(len(ticks))
    far = np.iinfo(np.int64).max // 2
    lowest = np.maximum.accumulate(np.where(fixed, ticks - place, -far)) + place
    highest = np.minimum.accumulate(np.where(fixed, ticks - place, far)[::-1])[::-1] + place
    if (lowest > highest).any():
        return None
    return np.maximum.accumulate(np.clip(ticks, lowest, highest) - place) + place


def tempi(clock: Clock) -> list[tuple[int, int]]:
    """(tick, microseconds a quarter) of the tempo events.

    A tempo lasts for as many moments as one whole number can serve, each within PATIENCE of what the reader has counted
    until then; of the numbers that do, it is the one that comes nearest to the last of them.
    """
    ticks, seconds, resolution = clock.ticks, clock.seconds, clock.resolution
    made: list[tuple[int, int]] = []
    start, counted = int(ticks[0]), float(seconds[0])  # of the tempo now being made
    low, high, best, before = 1, _ANY, 500_000, start
    for tick, second in zip(ticks[1:].tolist(), seconds[1:].tolist(), strict=True):
        while True:
            span = (tick - start) * 1e-6 / resolution
            lower, upper = ceil((second - PATIENCE - counted) / span), floor((second + PATIENCE - counted) / span)
            if before == start or max(low, lower) <= min(high, upper):
                break
            tempo = min(max(best, low), high)
            made.append((start, tempo))
            counted += tempo * (before - start) * 1e-6 / resolution
            start, low, high = before, 1, _ANY
        low, high, best = max(low, lower), min(high, upper), round((second - counted) / span)
        before = tick
    return [*made, (start, min(max(best, low), high))]
