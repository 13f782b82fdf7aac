"""What is struck on a channel and when it is let go: notes that carry others, and notes that share a key."""

from __future__ import annotations

import numpy as np

from timing.performance import CARRIED


def strokes(notes: np.ndarray) -> tuple[np.ndarray, np.ndarray]:
    """Rows of the notes (PLAYED) that are struck, and the second at which each has ended: with what it carries."""
    rows = np.flatnonzero(notes["attack"] != CARRIED)
    if len(rows) == len(notes):
        return rows, notes["end"]
    order = np.lexsort((notes["onset"], notes["lane"]))
    firsts = np.flatnonzero(notes["attack"][order] != CARRIED)
    ends = np.empty(len(notes))
    ends[order[firsts]] = np.maximum.reduceat(notes["end"][order], firsts)
    return rows, ends[rows]


def let_go(channel: np.ndarray, pitch: np.ndarray, start: np.ndarray, stop: np.ndarray) -> np.ndarray:
    """(n,) when each note is let go on its channel, in the units of `start` and `stop` (ticks or samples).

    A channel has one key for each pitch, and letting it go ends all that sounds there. So notes struck together share
    the longest end, and a note ends at the latest where the same key is struck again.
    """
    if not len(pitch):
        return stop
    order = np.lexsort((start, pitch, channel))
    key = np.stack([channel[order], pitch[order]]).astype(np.int64)
    new_key = np.append(True, np.any(np.diff(key, axis=1) != 0, axis=0))
    first = np.flatnonzero(new_key | np.append(True, np.diff(start[order]) != 0))
    longest = np.maximum.reduceat(stop[order], first)
    again = np.append(start[order][first][1:], np.iinfo(np.int64).max)
    again[np.append(new_key[first][1:], True)] = np.iinfo(np.int64).max
    made = np.empty_like(stop)
    made[order] = np.repeat(np.minimum(longest, again), np.diff(np.append(first, len(pitch))))
    return made
