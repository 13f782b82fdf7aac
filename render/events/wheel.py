"""The pitch wheel: the bends of a sliding lane as 14-bit values around the centre.

A wheel's range is a whole number of semitones, told to the channel by registered parameter 0 (MIDI 1.0). By the MIDI
standard the full range up is 8192 steps from the centre. SoundFont 2.04 (§8.4.10, from memory) turns the wheel into
12,700 cents over 128 steps of its range, so that a synth reaches only 127/128 of it.
"""

from __future__ import annotations

import numpy as np

from timing.performance import Performance

BY_STANDARD, BY_SOUNDFONT = 1.0, 127 / 128  # how much of its range a full wheel reaches
_LEAST, _MOST = 2, 127  # semitones; the least is what every channel starts with


def lane_range(performance: Performance, lane: int) -> int:
    """The range in semitones of a sliding lane: that of all bends of its part, in the whole of the music."""
    whole = performance.whole or performance
    parts = whole.lanes["part"][whole.bends["lane"]]
    return bend_range(whole.bends["semitones"][parts == performance.lanes["part"][lane]])


def bend_range(semitones: np.ndarray) -> int:
    """The range in semitones that holds these bends."""
    return int(np.clip(np.ceil(np.abs(semitones).max(initial=0) * 1.02), _LEAST, _MOST))


def wheel(semitones: np.ndarray, wide: int, reach: float) -> np.ndarray:
    """Values from -8192 to 8191 of bends in a range of `wide` semitones."""
    return np.clip(np.rint(8192 * semitones / (wide * reach)), -8192, 8191).astype(np.int64)


def wheel_changes(
    moments: np.ndarray, semitones: np.ndarray, onsets: np.ndarray, wide: int, reach: float
) -> tuple[np.ndarray, np.ndarray]:
    """(moments, values) of a lane's wheel, back at the centre at every onset. Moments are whole numbers (ticks or
    samples); where several fall together the last value holds, and what does not change is left out."""
    moment = np.concatenate([onsets, moments])
    value = np.concatenate([np.zeros(len(onsets), np.int64), wheel(semitones, wide, reach)])
    order = np.argsort(moment, kind="stable")
    moment, value = moment[order], value[order]
    last = np.append(np.diff(moment) > 0, True)[: len(moment)]
    moment, value = moment[last], value[last]
    changed = np.diff(value, prepend=0) != 0
    return moment[changed], value[changed]


def range_controls(wide: int) -> list[tuple[int, int]]:
    """(controller, value) pairs that tell a channel the range of its wheel, and then close the parameter."""
    return [(101, 0), (100, 0), (6, wide), (38, 0), (101, 127), (100, 127)]
